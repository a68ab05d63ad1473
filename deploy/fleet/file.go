package main

import (
	"bayward/agent/config"
)

// mostBytes bounds the file of a fleet: a thousand agents with eight bays each take less.
const mostBytes = 32 << 20

// fleet is the file of a fleet.
type fleet struct {
	Certificates certificates `yaml:"certificates"`
	Broker       *broker      `yaml:"broker"`     // left out: the agents have none
	Prometheus   *prometheus  `yaml:"prometheus"` // left out: nothing is written for one
	// Alertmanager has who is told of what; left out, nothing is written for one.
	Alertmanager *alertmanager `yaml:"alertmanager"`
	FirstBoot    *firstBoot    `yaml:"first_boot"` // left out: nothing is written for new cards
	Archive      *archive      `yaml:"archive"`    // left out: packages are installed by hand
	Logs         *logs         `yaml:"logs"`       // left out: logs stay on each Pi
	// Settings are keys of the configuration, for every agent.
	Settings config.Piece `yaml:"settings"`
	People   []person     `yaml:"people"`
	Sites    []site       `yaml:"sites"`
}

// certificates says for how long certificates are good, and whom the pages' authority may
// sign.
type certificates struct {
	// RenewDays is how long before its end a certificate is made again.
	RenewDays int `yaml:"renew_days" accept:"7 to 180 days" default:"60"`
	// PageDays is for the pages. Phones refuse certificates that last longer.
	PageDays int `yaml:"page_days" accept:"30 to 397 days" default:"397"`
	// MachineDays is for the broker, and for whoever connects to it.
	MachineDays int `yaml:"machine_days" accept:"30 to 1825 days" default:"1825"`
	// Domains and Networks are the only names and addresses of which a page may be, so
	// that nobody can pass for another place who has stolen the authority's key.
	Domains  []string `yaml:"domains"`
	Networks []string `yaml:"networks"`
}

// broker is the MQTT broker of the fleet.
type broker struct {
	Hosts   []string `yaml:"hosts"` // names and addresses of the machine; agents use the first
	Port    int      `yaml:"port" accept:"1 to 65535" default:"8883"`
	Clients []client `yaml:"clients"`
}

// client is a program that reads from the broker.
type client struct {
	Name string `yaml:"name"`
	// Orders lets it forward people's orders. On its own it can put a bay on hold.
	Orders string   `yaml:"orders" accept:"forward or none" default:"none"`
	Sites  []string `yaml:"sites"` // left out: all
}

// prometheus reads the metrics of all agents.
type prometheus struct {
	Alertmanagers []string `yaml:"alertmanagers"` // host:port of each
}

// alertmanager tells people of alarms.
type alertmanager struct {
	Global    config.Piece `yaml:"global"` // as in its own configuration
	Receivers receivers    `yaml:"receivers"`
}

// receivers are Alertmanager's own keys for each of the four, without a name.
type receivers struct {
	Now       config.Piece `yaml:"now"`       // go there now
	Shift     config.Piece `yaml:"shift"`     // within the shift
	Planning  config.Piece `yaml:"planning"`  // when convenient
	Heartbeat config.Piece `yaml:"heartbeat"` // raises the alarm when nothing arrives
}

// firstBoot is what a new card needs besides the agent.
type firstBoot struct {
	User    string   `yaml:"user"`     // who signs in by SSH, without a password
	SSHKeys []string `yaml:"ssh_keys"` // public keys of that user
	Time    []string `yaml:"time"`     // hosts that tell the time; left out, those of the image
}

// archive is the site's own apt repository, with a suite for each wave.
type archive struct {
	URL     string `yaml:"url"`
	KeyFile string `yaml:"key_file"` // its public OpenPGP key in ASCII, beside the file of the fleet
}

// logs is the server that collects the journals.
type logs struct {
	Host string `yaml:"host"`
}

// person may sign in on the pages.
type person struct {
	Name        string   `yaml:"name"`
	Role        string   `yaml:"role"`
	PINHash     string   `yaml:"pin_hash"`
	MQTTKeyFile string   `yaml:"mqtt_key_file"` // public key for signed orders, beside the file of the fleet
	Sites       []string `yaml:"sites"`         // left out: all
}

// site is one yard.
type site struct {
	Name string `yaml:"name"`
	// Settings are keys of the configuration, for the agents of this site.
	Settings config.Piece `yaml:"settings"`
	// Wave is when this site gets a new version: the first one is 1.
	Wave int `yaml:"wave" accept:"1 to 9" default:"1"`
	// Receivers are told instead of those of the whole fleet.
	Receivers receivers    `yaml:"receivers"`
	Packs     config.Piece `yaml:"packs"` // every pack of the yard
	Agents    []agent      `yaml:"agents"`
}

// agent is one Pi.
type agent struct {
	Name string `yaml:"name"`
	Host string `yaml:"host"` // name or address by which phones and servers reach it
	Wall bool   `yaml:"wall"` // a screen on the wall shows its page
	// Settings are keys of the configuration, for this agent.
	Settings config.Piece `yaml:"settings"`
	Modbus   config.Piece `yaml:"modbus"`
	Bays     config.Piece `yaml:"bays"`
}

// covers reports whether a list of sites that may be left out has a site.
func covers(sites []string, name string) bool {
	for _, one := range sites {
		if one == name {
			return true
		}
	}
	return len(sites) == 0
}

// user is the agent's name at the broker, the common name of its certificate.
func (s *site) user(a *agent) string { return a.Name + "." + s.Name }
