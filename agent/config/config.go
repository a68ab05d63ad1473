// Package config turns one YAML file into checked, typed settings. Every complaint
// names the file, the line, the field, the value and what is accepted. An unknown
// key is an error. A setting that is left out gets a default that is at least as
// careful as the table of the design.
package config

import (
	"net/netip"

	"bayward/agent/words"
	"bayward/sensors/wiring"
)

// Config is the whole file after defaults and checks.
type Config struct {
	Site  string `yaml:"site" required:"yes"`  // lower-case words and digits joined by hyphens
	Agent string `yaml:"agent" required:"yes"` // as site
	// Units of the page; every key, file and topic is in SI units.
	Units string `yaml:"units" accept:"<units>" default:"si"`
	// Language of page, notices and commands; files, topics and the archived record are English.
	Language string  `yaml:"language" accept:"<languages>" default:"en"`
	Sensors  string  `yaml:"sensors" accept:"wired or simulated" default:"wired"`
	HTTP     HTTP    `yaml:"http"`
	MQTT     *MQTT   `yaml:"mqtt"`    // left out: no broker
	Logbook  Logbook `yaml:"logbook"` // where the record is stored
	// Modbus lists the lines that registers of bays are read over; left out: none.
	Modbus   []wiring.Line `yaml:"modbus"`
	Bays     []Bay         `yaml:"bays" required:"yes"` // 1 to 8
	Packs    []Pack        `yaml:"packs" required:"yes"`
	Limits   Limits        `yaml:"limits"`
	People   []Person      `yaml:"people"` // who may sign in; required to listen on the network
	Notify   *Notify       `yaml:"notify"` // left out: notices go to the broker and the page only
	FirstAid FirstAid      `yaml:"first_aid"`
}

// FirstAid is where help is at the site, shown with first aid, before a visit and in
// notices. An empty entry is not shown.
type FirstAid struct {
	EmergencyPhone string `yaml:"emergency_phone"` // of the public service
	SitePhone      string `yaml:"site_phone"`      // of the site's own first aid or gate
	Eyewash        string `yaml:"eyewash"`         // its place
	Kit            string `yaml:"kit"`             // the place of the first-aid kit
}

// Words returns it as the page and notices show it.
func (f *FirstAid) Words() words.SiteAid { return words.SiteAid(*f) }

// HTTP is the one listener for page, metrics and interface.
type HTTP struct {
	Listen string `yaml:"listen"` // host:port, default 127.0.0.1:8080
	// WebConfigFile switches on TLS and basic authentication, in the format of
	// Prometheus exporters; left out, neither is used.
	WebConfigFile string `yaml:"web_config_file"`
	// TrustedProxies are the addresses or prefixes of reverse proxies in front of the
	// page; only from them is X-Forwarded-For believed. Left out: none.
	TrustedProxies []string `yaml:"trusted_proxies"`
	// WallKey lets a screen on the wall look without signing in, at /wall?key=KEY. It
	// gives no orders. Left out: the wall needs a person as every other page does.
	WallKey string `yaml:"wall_key"`
	// URL is how people's browsers reach this page: http or https, a host and perhaps a
	// port. The site's other agents link to it. Left out: they name the agent only.
	URL string `yaml:"url"`
}

// Proxies returns the trusted proxies. The file has passed Parse.
func (h *HTTP) Proxies() (all []netip.Prefix) {
	for _, text := range h.TrustedProxies {
		if p, err := proxy(text); err == nil {
			all = append(all, p)
		}
	}
	return all
}

// MQTT is the connection to the broker.
type MQTT struct {
	Broker       string   `yaml:"broker"`   // tcp://host:port, ssl://host:port, ws:// or wss://, without a user name
	Fallback     []string `yaml:"fallback"` // further brokers, tried in this order when the one before does not answer
	Embedded     string   `yaml:"embedded"` // host:port on this machine for the program's own broker, instead of broker
	ClientID     string   `yaml:"client_id"`
	Username     string   `yaml:"username"`      // left out: none
	PasswordFile string   `yaml:"password_file"` // file with the password, read at each connection
	CAFile       string   `yaml:"ca_file"`       // PEM; left out, the system's certificate authorities
	CertFile     string   `yaml:"cert_file"`     // the agent's own certificate, PEM
	KeyFile      string   `yaml:"key_file"`      // the key of cert_file, PEM
	KeepAliveS   int      `yaml:"keep_alive_seconds" accept:"5 to 1200" default:"30"`
	MaxInFlight  int      `yaml:"max_in_flight" accept:"1 to 64" default:"16"`
	// OtherAgents is whether the work list shows the bays of the site's other agents, too.
	OtherAgents string `yaml:"other_agents" accept:"follow or ignore" default:"follow"`
	QoS         QoS    `yaml:"qos"`
}

// QoS is the MQTT quality of service for each topic. Status and event need at least
// 1, because 0 is not acknowledged.
type QoS struct {
	Status   int `yaml:"status" accept:"1 to 2" default:"1"`
	State    int `yaml:"state" accept:"0 to 2" default:"1"`
	Event    int `yaml:"event" accept:"1 to 2" default:"1"`
	Notice   int `yaml:"notice" accept:"0 to 2" default:"1"`
	Command  int `yaml:"command" accept:"0 to 2" default:"1"`
	Response int `yaml:"response" accept:"0 to 2" default:"1"`
}

// Logbook is where the record is stored.
type Logbook struct {
	Path string `yaml:"path"` // file of the logbook, default /var/lib/bayward/logbook.db
	// KeepDays is how long thinned readings are kept, in days. Events, charges, visits, findings and refusals are kept forever.
	KeepDays int `yaml:"keep_days" accept:"30 to 3650" default:"730"`
}

// Bay is one charging place and what is wired to it.
type Bay struct {
	Name string `yaml:"name" required:"yes"` // as site
	Pack string `yaml:"pack"`                // the only pack of this bay, by its name in packs
	// Packs lists the packs that may be plugged in here, instead of pack. If each of
	// them has a sensor, the sensor identifies it; otherwise a person names it.
	Packs  []string     `yaml:"packs"`
	Wiring wiring.Parts `yaml:"wiring"`
	// Charger is used for the ventilation figures; left out, the worst case is assumed.
	Charger *Charger `yaml:"charger"`
}

// Charger describes a bay's charger, for bayward airflow. No permit depends on it.
type Charger struct {
	// Curve is the charger's characteristic.
	Curve string `yaml:"curve" accept:"<charger curves>" default:"unknown"`
	// RatedA is the rated output current, A; left out, it is not known.
	RatedA float64 `yaml:"rated_a" accept:"0.1 to 1000 A, the charger's rated output" default:""`
}

// Pack is one battery.
type Pack struct {
	Name       string  `yaml:"name" required:"yes"`
	Cells      int     `yaml:"cells" accept:"1 to 48 cells of 2 V"`
	CapacityAh float64 `yaml:"capacity_ah" accept:"1 to 2000 Ah"` // capacity at the rate of rate_hours
	RateHours  float64 `yaml:"rate_hours" accept:"1 to 100 h" default:"20"`
	// FullGravity is the specific gravity when full, at 25 °C.
	FullGravity float64 `yaml:"full_gravity" accept:"1.2 to 1.35 as specific gravity at 25 °C, such as 1.277"`
	// ChargeLevelMM is the lowest level for charging.
	ChargeLevelMM float64 `yaml:"charge_level_mm" accept:"0.5 to 100 mm above the plate tops; at 0 the plates count as bare"`
	// FillMarkMM is the level that a fill aims for.
	FillMarkMM float64 `yaml:"fill_mark_mm" accept:"1 to 200 mm above the plate tops"`
	// VentWellMM is where water starts to leave through the vent.
	VentWellMM     float64 `yaml:"vent_well_mm" accept:"2 to 300 mm above the plate tops"`
	FreeSurfaceCM2 float64 `yaml:"free_surface_cm2" accept:"1 to 5000 cm² in one cell"`
	// ProbeCell is the cell with the level probe, 1 at the positive end; left out, it
	// is not known, and no cell is shown as measured.
	ProbeCell int `yaml:"probe_cell" accept:"1 to 48 cells, from the positive end" default:""`
	// ElectrolyteML is the volume in one cell at the fill mark; left out, 14 ml for
	// each Ah.
	ElectrolyteML float64 `yaml:"electrolyte_ml" accept:"10 to 100000 ml in one cell" default:""`
	// ChargeFactor is how many ampere-hours must go back in for each ampere-hour taken
	// out until the pack is full. 1.15 is usual for vented traction cells without acid
	// circulation (from memory).
	ChargeFactor float64 `yaml:"charge_factor" accept:"1.02 to 1.3 ampere-hours back over ampere-hours out" default:"1.15"`
	// Sensor is the number of the 1-wire sensor that stays in this pack and
	// identifies it.
	Sensor string `yaml:"sensor"`
	// Layout draws the cells on the page as they lie in the battery, seen from above: one
	// text for each row, with the numbers of its cells and a point for a gap. Left out,
	// the page numbers them in plain rows.
	Layout []string `yaml:"layout"`
	Plate  `yaml:",inline"`
}
