package config

import (
	"fmt"
	"net"
	"net/url"
)

var brokerRule = say("must-be-tcp-host-port-ssl-host")

// brokerCheck checks the connection to the broker.
type brokerCheck struct{ *checker }

func (c brokerCheck) mqtt(cfg *Config) {
	m := cfg.MQTT
	if m == nil {
		return
	}
	c.brokers(m)
	if !c.present("mqtt.client_id") {
		m.ClientID = "bayward-" + cfg.Site + "-" + cfg.Agent
	}
	for field, v := range map[string]string{
		"client_id": m.ClientID, "username": m.Username, "password_file": m.PasswordFile,
		"ca_file": m.CAFile, "cert_file": m.CertFile, "key_file": m.KeyFile,
	} {
		c.nonEmpty("mqtt."+field, v)
	}
	if m.PasswordFile != "" && m.Username == "" {
		c.reject("mqtt.password_file", say("must-come-with-a-username"))
	}
	if m.KeyFile != "" && m.CertFile == "" {
		c.reject("mqtt.key_file", say("must-come-with-a-cert-file"))
	}
	c.fields("mqtt", m)
	c.fields("mqtt.qos", &m.QoS)
}

func (c brokerCheck) brokers(m *MQTT) {
	if c.present("mqtt.embedded") {
		c.embedded(m)
	} else if !c.missing("mqtt.broker", brokerRule) {
		c.broker("mqtt.broker", m.Broker)
	}
	for i, address := range m.Fallback {
		c.broker(fmt.Sprintf("mqtt.fallback[%d]", i), address)
	}
}

func (c brokerCheck) embedded(m *MQTT) {
	host, port, err := net.SplitHostPort(m.Embedded)
	ip := net.ParseIP(host)
	if err != nil || !isPort(port, 1) || host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		c.reject("mqtt.embedded", say("must-be-127-0-0-1-port"))
	}
	if c.present("mqtt.broker") || len(m.Fallback) > 0 {
		c.reject("mqtt.embedded", say("must-stand-without-broker-and-fallback"))
	}
}

func (c brokerCheck) broker(field, address string) {
	if !isBroker(address) {
		c.texts[field] = quoted(ShownAddress(address))
		c.reject(field, say("must-be-tcp-host-port-ssl-host-2"))
	}
}

func isBroker(s string) bool {
	u, err := url.Parse(s)
	if err != nil || u.User != nil || u.Hostname() == "" || u.RawQuery != "" || u.Fragment != "" || !isPort(u.Port(), 1) {
		return false
	}
	switch u.Scheme {
	case "tcp", "ssl":
		return u.Path == ""
	case "ws", "wss":
		return true
	}
	return false
}
