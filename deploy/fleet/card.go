package main

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"maps"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"golang.org/x/crypto/ssh"
)

// firstBootScript installs the package on a new card, once.
//
//go:embed first-boot
var firstBootScript string

// firstBootUnit starts the script until it has succeeded: the network may come late.
//
//go:embed first-boot.service
var firstBootUnit string

var userForm = regexp.MustCompile(`^[a-z][a-z0-9-]{0,30}$`)

// cards checks what new cards and the archive of packages need.
func (p *plan) cards() {
	p.firstBoot()
	if l := p.Logs; l != nil && p.doc.Require("logs.host", "the name or address of the server that collects the journals") && !isHost(l.Host) {
		p.doc.Reject("logs.host", hostRule)
	}
	p.packages()
}

// firstBoot checks who may sign in on a new card.
func (p *plan) firstBoot() {
	f := p.FirstBoot
	if f == nil {
		return
	}
	if p.doc.Require("first_boot.user", "the name of who signs in by SSH") && (!userForm.MatchString(f.User) || f.User == "root" || f.User == "bayward") {
		p.doc.Reject("first_boot.user", "must be lower-case letters, digits and hyphens, and neither root nor bayward")
	}
	if p.doc.Require("first_boot.ssh_keys", "public keys of that user") && len(f.SSHKeys) == 0 {
		p.doc.Reject("first_boot.ssh_keys", "must have at least one key: there is no password")
	}
	for i, key := range f.SSHKeys {
		if _, _, options, rest, err := ssh.ParseAuthorizedKey([]byte(key)); err != nil || len(options) > 0 || len(rest) > 0 {
			p.doc.Reject(fmt.Sprintf("first_boot.ssh_keys[%d]", i), "must be one public key as in authorized_keys, without options")
		}
	}
	for i, host := range f.Time {
		if !isHost(host) {
			p.doc.Reject(fmt.Sprintf("first_boot.time[%d]", i), hostRule)
		}
	}
}

// packages checks the archive.
func (p *plan) packages() {
	a := p.Archive
	if a == nil {
		return
	}
	u, err := url.Parse(a.URL)
	if p.doc.Require("archive.url", "the address of the archive of packages") && (err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.User != nil || u.RawQuery != "" || strings.ContainsAny(a.URL, " \t\n")) {
		p.doc.Reject("archive.url", "must be http:// or https://, a host and perhaps a folder")
	}
	if !p.doc.Require("archive.key_file", "the public key of the archive") {
		return
	}
	if p.archiveKey, err = p.beside(a.KeyFile); err != nil {
		p.doc.Reject("archive.key_file", "must be a public OpenPGP key in ASCII: "+err.Error())
		return
	}
	if !bytes.HasPrefix(p.archiveKey, []byte("-----BEGIN PGP PUBLIC KEY BLOCK-----")) || bytes.Contains(p.archiveKey, []byte("PRIVATE")) {
		p.doc.Reject("archive.key_file", "must be a public OpenPGP key in ASCII, as gpg --export --armor prints it")
	}
}

// cloudConfig is the part of cloud-init's user data that is used.
type cloudConfig struct {
	Hostname    string      `json:"hostname"`
	Hosts       bool        `json:"manage_etc_hosts"`
	DisableRoot bool        `json:"disable_root"`
	Passwords   bool        `json:"ssh_pwauth"`
	Users       []cloudUser `json:"users"`
	Files       []cloudFile `json:"write_files"`
	Commands    [][]string  `json:"runcmd"`
}

type cloudUser struct {
	Name   string   `json:"name"`
	Groups []string `json:"groups"`
	Sudo   string   `json:"sudo"`
	Shell  string   `json:"shell"`
	Locked bool     `json:"lock_passwd"`
	Keys   []string `json:"ssh_authorized_keys"`
}

type cloudFile struct {
	Path        string `json:"path"`
	Content     string `json:"content"`
	Owner       string `json:"owner"`
	Permissions string `json:"permissions"`
}

// card adds what a new card needs on its boot partition: user data for cloud-init, with
// every file of the Pi in it.
func (p *plan) card(o *output, m *made) error {
	f := p.FirstBoot
	if f == nil {
		return nil
	}
	config := cloudConfig{
		Hostname: m.agent.Name, Hosts: true, DisableRoot: true,
		Users: []cloudUser{{f.User, []string{"adm", "sudo"}, "ALL=(ALL) NOPASSWD:ALL", "/bin/bash", true, f.SSHKeys}},
		Files: []cloudFile{
			{"/usr/local/sbin/bayward-first-boot", firstBootScript, "root:root", "0755"},
			{"/etc/systemd/system/bayward-first-boot.service", firstBootUnit, "root:root", "0644"},
		},
		Commands: [][]string{{"systemctl", "enable", "bayward-first-boot.service"}, {"systemctl", "start", "--no-block", "bayward-first-boot.service"}},
	}
	for _, name := range slices.Sorted(maps.Keys(o.files)) {
		if path, ok := strings.CutPrefix(name, m.root()); ok {
			// The groups that may read some of them come with packages: first-boot gives them.
			config.Files = append(config.Files, cloudFile{"/" + path, string(o.files[name].data), "root:root", fmt.Sprintf("%04o", o.files[name].mode)})
		}
	}
	var b bytes.Buffer
	b.WriteString("#cloud-config\n")
	e := json.NewEncoder(&b) // JSON is YAML
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	if err := e.Encode(config); err != nil {
		return err
	}
	folder := "first-boot/" + m.site.Name + "/" + m.agent.Name + "/"
	o.secret(folder+"user-data", b.Bytes())
	o.add(folder+"meta-data", []byte("instance-id: "+m.site.user(m.agent)+"\n"))
	return nil
}
