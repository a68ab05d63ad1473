package main

import (
	"crypto/x509"
	"fmt"
	"path/filepath"
	"strings"
)

const fromFleet = "# Made from the file of the fleet: change it there.\n"

func (m *made) root() string { return "pis/" + m.site.Name + "/" + m.agent.Name + "/" }

// pi adds what goes onto one Pi, as it lies there.
func (p *plan) pi(o *output, m *made, pages, machines *authority) error {
	root := m.root()
	o.secret(root+configFile, []byte(fromFleet+m.text))
	o.secret(root+webFile, []byte(fromFleet+"tls_server_config:\n  cert_file: /"+pageFile+".pem\n  key_file: /"+pageFile+"-key.pem\n  min_version: TLS12\n"))
	for _, one := range m.People {
		if name := filepath.Base(one.MQTTKeyFile); one.MQTTKeyFile != "" {
			o.secret(root+peopleKeys+name, p.keys[name])
		}
	}
	if err := o.certificate(pages, root+pageFile, "page of "+m.agent.Name, x509.ExtKeyUsageServerAuth, names{m.agent.Host}); err != nil {
		return err
	}
	p.system(o, m)
	if p.Broker != nil {
		o.secret(root+brokerCA, o.files["authority/machines.pem"].data)
		if err := o.certificate(machines, root+mqttFile, m.site.user(m.agent), x509.ExtKeyUsageClientAuth, nil); err != nil {
			return err
		}
	}
	return p.sendsLogs(o, m, machines)
}

// system adds the settings of the operating system that the how-to has, and where new
// versions come from.
func (p *plan) system(o *output, m *made) {
	etc := m.root() + "etc/"
	o.add(etc+"systemd/system.conf.d/bayward.conf", []byte(fromFleet+"[Manager]\nRuntimeWatchdogSec=15\n"))
	o.add(etc+"systemd/journald.conf.d/bayward.conf", []byte(fromFleet+"[Journal]\nStorage=volatile\nRuntimeMaxUse=32M\n"))
	if f := p.FirstBoot; f != nil && len(f.Time) > 0 {
		o.add(etc+"systemd/timesyncd.conf.d/bayward.conf", []byte(fromFleet+"[Time]\nNTP="+strings.Join(f.Time, " ")+"\n"))
	}
	if p.Archive == nil {
		return
	}
	o.add(etc+"apt/keyrings/bayward.asc", p.archiveKey)
	o.add(etc+"apt/sources.list.d/bayward.sources", fmt.Appendf(nil, fromFleet+"Types: deb\nURIs: %s\nSuites: wave-%d\nComponents: main\nSigned-By: /etc/apt/keyrings/bayward.asc\n", p.Archive.URL, m.site.Wave))
	o.add(etc+"apt/apt.conf.d/52bayward", []byte("// Made from the file of the fleet: change it there.\nUnattended-Upgrade::Origins-Pattern:: \"origin=bayward\";\nDpkg::Options:: \"--force-confold\";\n"))
}

// Where the files for sending and collecting logs are: beside those of the agent, because
// another user reads them.
const logEtc = "etc/bayward-logs/"

// sendsLogs adds what makes a Pi send its journal.
func (p *plan) sendsLogs(o *output, m *made, machines *authority) error {
	if p.Logs == nil {
		return nil
	}
	root := m.root()
	o.add(root+"etc/systemd/journal-upload.conf.d/bayward.conf", []byte(fromFleet+"[Upload]\nURL=https://"+bracketed(p.Logs.Host)+
		"\nServerKeyFile=/"+logEtc+"log-key.pem\nServerCertificateFile=/"+logEtc+"log.pem\nTrustedCertificateFile=/"+logEtc+"ca.pem\n"))
	o.add(root+logEtc+"ca.pem", o.files["authority/machines.pem"].data)
	return o.certificate(machines, root+logEtc+"log", m.site.user(m.agent), x509.ExtKeyUsageClientAuth, nil)
}

// logFiles adds what goes onto the server that collects the journals.
func (p *plan) logFiles(o *output, machines *authority) error {
	if p.Logs == nil {
		return nil
	}
	const root = "servers/logs/"
	o.add(root+"etc/systemd/journal-remote.conf.d/bayward.conf", []byte(fromFleet+"[Remote]\nSplitMode=host\nServerKeyFile=/"+logEtc+
		"log-key.pem\nServerCertificateFile=/"+logEtc+"log.pem\nTrustedCertificateFile=/"+logEtc+"ca.pem\n"))
	o.add(root+logEtc+"ca.pem", o.files["authority/machines.pem"].data)
	return o.certificate(machines, root+logEtc+"log", "logs", x509.ExtKeyUsageServerAuth, names{p.Logs.Host})
}

// bracketed is a host as it stands in an address.
func bracketed(host string) string {
	if strings.Contains(host, ":") {
		return "[" + host + "]"
	}
	return host
}
