package main

import (
	"bytes"
	"crypto/x509"
	"fmt"
	"strconv"
	"strings"

	"bayward/deploy"
)

// brokerName is the common name of the broker's certificate.
const brokerName = "broker"

// brokerFiles adds what goes onto the broker, and the certificates of its clients.
func (p *plan) brokerFiles(o *output, machines *authority) error {
	b := p.Broker
	if b == nil {
		return nil
	}
	const root = "servers/broker/etc/mosquitto/"
	conf, err := deploy.Servers.ReadFile("mosquitto/bayward.conf")
	if err != nil {
		return err
	}
	o.add(root+"conf.d/bayward.conf", bytes.Replace(conf, []byte("\nlistener 8883\n"), []byte("\nlistener "+strconv.Itoa(b.Port)+"\n"), 1))
	o.add(root+"bayward.acl", []byte(p.rights()))
	o.add(root+"bayward/ca.pem", o.files["authority/machines.pem"].data)
	if err := o.certificate(machines, root+"bayward/broker", brokerName, x509.ExtKeyUsageServerAuth, b.Hosts); err != nil {
		return err
	}
	for i := range b.Clients {
		name := b.Clients[i].Name
		folder := "clients/" + name + "/"
		o.add(folder+"ca.pem", o.files["authority/machines.pem"].data)
		if err := o.certificate(machines, folder+name, name, x509.ExtKeyUsageClientAuth, nil); err != nil {
			return err
		}
	}
	return nil
}

// agentRights are those of one agent, by site and agent.
const agentRights = `
user %[2]s.%[1]s
topic write bayward/%[1]s/%[2]s/status
topic write bayward/%[1]s/%[2]s/daily
topic write bayward/%[1]s/%[2]s/+/state
topic readwrite bayward/%[1]s/%[2]s/+/event
topic write bayward/%[1]s/%[2]s/+/notice
topic write bayward/%[1]s/%[2]s/+/response
topic read bayward/%[1]s/%[2]s/+/command
topic read bayward/%[1]s/+/status
topic read bayward/%[1]s/+/daily
topic read bayward/%[1]s/+/+/state
`

// rights are the broker's access list.
func (p *plan) rights() string {
	var b strings.Builder
	b.WriteString("# Made from the file of the fleet: change it there. The user is the common name of a certificate.\n" +
		"# Anything not listed is denied, and a user without a section here can do nothing.\n")
	for i := range p.configs {
		fmt.Fprintf(&b, agentRights, p.configs[i].site.Name, p.configs[i].agent.Name)
	}
	for i := range p.Broker.Clients {
		c := &p.Broker.Clients[i]
		fmt.Fprintf(&b, "\nuser %s\n", c.Name)
		sites := c.Sites
		if len(sites) == 0 {
			sites = []string{"+"}
		}
		for _, site := range sites {
			fmt.Fprintf(&b, "topic read bayward/%s/#\n", site)
			if c.Orders == "forward" {
				fmt.Fprintf(&b, "topic write bayward/%s/+/+/command\n", site)
			}
		}
	}
	return b.String()
}
