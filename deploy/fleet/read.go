package main

import (
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"bayward/agent/config"
)

// plan is a file of a fleet that was read and checked.
type plan struct {
	fleet
	path       string
	out        *output // has what the last run made
	doc        *config.Document
	keys       map[string][]byte // people's public keys, by the name of their file
	configs    []made            // in the order of the file
	archiveKey []byte
}

// read reads the file of a fleet and checks everything in it. Of the output it takes the
// keys that are in configurations. The error lists every fault with its line.
func read(path string, out *output) (*plan, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	p := &plan{path: path, out: out, keys: map[string][]byte{}}
	if p.doc, err = config.Decode(path, data, mostBytes, &p.fleet); err != nil {
		return nil, err
	}
	p.certificates()
	p.brokerOf()
	p.alarms()
	p.cards()
	p.sites()
	p.people()
	p.makeConfigs()
	return p, p.doc.Err()
}

var (
	domainForm = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*$`)
	allDigits  = regexp.MustCompile(`^[0-9.]+$`)
)

// isHost reports whether a text is a host name or an address.
func isHost(s string) bool {
	if a, err := netip.ParseAddr(s); err == nil {
		return a.Zone() == ""
	}
	return len(s) <= 253 && domainForm.MatchString(s) && !allDigits.MatchString(s)
}

func (p *plan) certificates() {
	c := &p.Certificates
	p.doc.Fields("certificates", c)
	for field, days := range map[string]int{"page_days": c.PageDays, "machine_days": c.MachineDays} {
		if days < 2*c.RenewDays && p.doc.Usable("certificates.renew_days", "certificates."+field) {
			p.doc.Reject("certificates."+field, fmt.Sprintf("must be at least twice renew_days, %d", 2*c.RenewDays))
		}
	}
	for i, d := range c.Domains {
		if !domainForm.MatchString(d) || allDigits.MatchString(d) {
			p.doc.Reject(fmt.Sprintf("certificates.domains[%d]", i), "must be a domain in lower case without a point before it, such as quarry.example")
		}
	}
	for i, n := range c.Networks {
		if net, err := netip.ParsePrefix(n); err != nil || net != net.Masked() || net.Addr().Is4In6() {
			p.doc.Reject(fmt.Sprintf("certificates.networks[%d]", i), "must be a network with its length, such as 192.168.7.0/24")
		}
	}
}

// covered reports whether the pages' authority may sign for a host.
func (c *certificates) covered(host string) bool {
	if a, err := netip.ParseAddr(host); err == nil {
		for _, n := range c.Networks {
			if net, err := netip.ParsePrefix(n); err == nil && net.Contains(a) {
				return true
			}
		}
		return false
	}
	for _, d := range c.Domains {
		if host == d || strings.HasSuffix(host, "."+d) {
			return true
		}
	}
	return false
}

const hostRule = "must be a host name in lower case or an address, without a port"

func (p *plan) brokerOf() {
	b := p.Broker
	if b == nil {
		return
	}
	p.doc.Fields("broker", b)
	if p.doc.Require("broker.hosts", "the names and addresses of the broker's machine") && len(b.Hosts) == 0 {
		p.doc.Reject("broker.hosts", "must have at least one name or address")
	}
	for i, h := range b.Hosts {
		if !isHost(h) {
			p.doc.Reject(fmt.Sprintf("broker.hosts[%d]", i), hostRule)
		}
	}
	first := map[string]bool{}
	for i := range b.Clients {
		at := fmt.Sprintf("broker.clients[%d]", i)
		p.doc.Fields(at, &b.Clients[i])
		p.once(at+".name", b.Clients[i].Name, first)
		if b.Clients[i].Name == brokerName {
			p.doc.Reject(at+".name", "must be another name: this is that of the broker's own certificate")
		}
		p.knownSites(at+".sites", b.Clients[i].Sites)
	}
}

// once checks a name that is unlike the others of its list.
func (p *plan) once(field, name string, seen map[string]bool) {
	p.doc.Name(field, name)
	if seen[name] {
		p.doc.Reject(field, "must be unlike the other names of this list")
	}
	seen[name] = name != ""
}

func (p *plan) knownSites(field string, names []string) {
	var known []string
	for i := range p.Sites {
		known = append(known, p.Sites[i].Name)
	}
	for i, name := range names {
		if !covers(append([]string{""}, known...), name) {
			p.doc.Reject(fmt.Sprintf("%s[%d]", field, i), "must be the name of a site: "+strings.Join(known, ", "))
		}
	}
	if p.doc.Present(field) && len(names) == 0 {
		p.doc.Reject(field, "must have at least one name of a site; left out, it means all")
	}
}

func (p *plan) sites() {
	if p.doc.Require("sites", "a list with at least one site") && len(p.Sites) == 0 {
		p.doc.Reject("sites", "must have at least one site")
	}
	seen, hosts := map[string]bool{}, map[string]bool{}
	for i := range p.Sites {
		s, at := &p.Sites[i], fmt.Sprintf("sites[%d]", i)
		p.doc.Fields(at, s)
		p.once(at+".name", s.Name, seen)
		if p.doc.Require(at+".agents", "a list with at least one agent") && len(s.Agents) == 0 {
			p.doc.Reject(at+".agents", "must have at least one agent")
		}
		agents := map[string]bool{}
		for j := range s.Agents {
			p.agent(fmt.Sprintf("%s.agents[%d]", at, j), s, &s.Agents[j], agents, hosts)
		}
	}
}

// mostUser is the longest common name of a certificate (RFC 5280, appendix A.1,
// ub-common-name).
const mostUser = 64

func (p *plan) agent(at string, s *site, a *agent, names, hosts map[string]bool) {
	p.once(at+".name", a.Name, names)
	if len(s.user(a)) > mostUser {
		p.doc.Reject(at+".name", fmt.Sprintf("must have at most %d characters together with the site and the point between them", mostUser))
	}
	if !p.doc.Require(at+".host", "the host name or address by which phones and servers reach this Pi") {
		return
	}
	switch {
	case !isHost(a.Host):
		p.doc.Reject(at+".host", hostRule)
	case hosts[a.Host]:
		p.doc.Reject(at+".host", "must be unlike the hosts of the other agents")
	case !p.Certificates.covered(a.Host):
		p.doc.Reject(at+".host", "must be in one of certificates.domains or certificates.networks")
	}
	hosts[a.Host] = true
}

// people checks what a configuration does not have of them; the rest is found where the
// configurations are made.
func (p *plan) people() {
	p.doc.Require("people", "a list of who may sign in on the pages")
	for i := range p.Sites {
		if !slices.ContainsFunc(p.People, func(one person) bool { return covers(one.Sites, p.Sites[i].Name) }) {
			p.doc.Reject("people", "must have somebody for the site "+p.Sites[i].Name)
		}
	}
	owner := map[string]string{}
	for i := range p.People {
		one, at := &p.People[i], fmt.Sprintf("people[%d]", i)
		p.knownSites(at+".sites", one.Sites)
		if one.MQTTKeyFile == "" {
			continue
		}
		field, name := at+".mqtt_key_file", one.keyName()
		if other, taken := owner[name]; taken && other != one.MQTTKeyFile {
			p.doc.Reject(field, "must be a file with another name than that of "+other)
			continue
		}
		owner[name] = one.MQTTKeyFile
		text, err := p.publicKey(one.MQTTKeyFile)
		if err != nil {
			p.doc.Reject(field, "must be a file with a public key (Ed25519, PEM): "+err.Error())
			continue
		}
		p.keys[name] = text
	}
}

// keyName is the key's file on a Pi.
func (o *person) keyName() string { return filepath.Base(o.MQTTKeyFile) }

// beside reads a file whose name is relative to the file of the fleet.
func (p *plan) beside(name string) ([]byte, error) {
	if !filepath.IsAbs(name) {
		name = filepath.Join(filepath.Dir(p.path), name)
	}
	return os.ReadFile(name)
}

// publicKey reads a key file. It returns the public key only, whatever else is in the file.
func (p *plan) publicKey(name string) ([]byte, error) {
	text, err := p.beside(name)
	if err != nil {
		return nil, err
	}
	block, _ := pem.Decode(text)
	if block == nil || block.Type != "PUBLIC KEY" {
		return nil, errors.New("no public key in it")
	}
	key, err := x509.ParsePKIXPublicKey(block.Bytes)
	if err != nil {
		return nil, err
	}
	if _, ok := key.(ed25519.PublicKey); !ok {
		return nil, errors.New("a key of another kind")
	}
	return pem.EncodeToMemory(&pem.Block{Type: block.Type, Bytes: block.Bytes}), nil
}
