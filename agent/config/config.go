// Package config turns one YAML file into checked, typed settings. Every
// complaint names the file, the line, the field, the value and what is
// accepted; an unknown key is an error. What is left out takes a default that
// can only be as careful or more careful than the table of the design.
package config

import "bayward/sensors/wiring"

// Config is the whole file after defaults and checks.
type Config struct {
	Site  string `yaml:"site"`  // lower-case words and digits joined by hyphens
	Agent string `yaml:"agent"` // as Site
	// Units are for people only; every key, file and topic is in SI units.
	Units string `yaml:"units"`
	// Language of page and notices; files, topics and the record are English.
	Language string   `yaml:"language"`
	Sensors  string   `yaml:"sensors"` // "wired" or "simulated"
	HTTP     HTTP     `yaml:"http"`
	MQTT     *MQTT    `yaml:"mqtt"`    // nil: no broker
	Logbook  Logbook  `yaml:"logbook"` // where the record is kept
	Bays     []Bay    `yaml:"bays"`    // 1 to MaxBays
	Packs    []Pack   `yaml:"packs"`
	Limits   Limits   `yaml:"limits"`
	People   []Person `yaml:"people"` // none: who listens on the network is refused
	Notify   *Notify  `yaml:"notify"` // nil: notices go to the broker and the page only
}

// HTTP is the one listener for page, metrics and interface.
type HTTP struct {
	Listen string `yaml:"listen"` // host:port, default 127.0.0.1:8080
	// WebConfigFile switches on TLS and basic authentication; its form is the
	// exporter toolkit's, known from Prometheus exporters. "" for neither.
	WebConfigFile string `yaml:"web_config_file"`
}

// MQTT is the way to the broker.
type MQTT struct {
	Broker       string   `yaml:"broker"`   // tcp://host:port, ssl://host:port, ws:// or wss://; no user in it
	Fallback     []string `yaml:"fallback"` // further brokers, tried in this order when the one before does not answer
	Embedded     string   `yaml:"embedded"` // host:port of this machine: a broker inside the program, instead of Broker
	ClientID     string   `yaml:"client_id"`
	Username     string   `yaml:"username"`      // "" for none
	PasswordFile string   `yaml:"password_file"` // read at each connection; never the password itself
	CAFile       string   `yaml:"ca_file"`       // PEM; default the system's roots
	CertFile     string   `yaml:"cert_file"`     // our own certificate, PEM; "" for none
	KeyFile      string   `yaml:"key_file"`      // its key, PEM
	KeepAliveS   int      `yaml:"keep_alive_seconds"`
	MaxInFlight  int      `yaml:"max_in_flight"`
	QoS          QoS      `yaml:"qos"`
}

// QoS is the quality of service for each topic, 0 to 2; status and event need
// 1 at least, since 0 is not acknowledged.
type QoS struct {
	Status   int `yaml:"status"`
	State    int `yaml:"state"`
	Event    int `yaml:"event"`
	Notice   int `yaml:"notice"`
	Command  int `yaml:"command"`
	Response int `yaml:"response"`
}

// Logbook is the durable record.
type Logbook struct {
	Path string `yaml:"path"` // default /var/lib/bayward/logbook.db
	// KeepDays is how long thinned readings are kept, 30 to 3650; default 730.
	// Events, charges, visits, findings and refusals are kept for ever.
	KeepDays int `yaml:"keep_days"`
}

// Bay is one charging place and what is wired to it.
type Bay struct {
	Name string `yaml:"name"` // as Site
	Pack string `yaml:"pack"` // name of a pack below, of a bay that is its alone
	// Packs names the packs that may be plugged in here, instead of Pack; see
	// Recognises for how it is known which.
	Packs  []string     `yaml:"packs"`
	Wiring wiring.Parts `yaml:"wiring"`
	// Charger is what ventilation goes by; nil is not known, the worst case.
	Charger *Charger `yaml:"charger"`
}

// Charger is what is known of a bay's charger. No permit rests on it; see bayward
// airflow.
type Charger struct {
	// Curve is its characteristic: "iu", "iui", "taper", "unregulated" or
	// "unknown", which is the default; see electrolyte.ChargerCurve.
	Curve  string  `yaml:"curve"`
	RatedA float64 `yaml:"rated_a"` // rated output current, A; 0: not known
}

// Pack is one battery.
type Pack struct {
	Name           string  `yaml:"name"`
	Cells          int     `yaml:"cells"`       // 1 to 48
	CapacityAh     float64 `yaml:"capacity_ah"` // 1 to 2000, at rate_hours
	RateHours      float64 `yaml:"rate_hours"`  // 1 to 100, default 20
	FullGravity    float64 `yaml:"full_gravity"`
	ChargeLevelMM  float64 `yaml:"charge_level_mm"`
	FillMarkMM     float64 `yaml:"fill_mark_mm"`
	VentWellMM     float64 `yaml:"vent_well_mm"`
	FreeSurfaceCM2 float64 `yaml:"free_surface_cm2"`
	ElectrolyteML  float64 `yaml:"electrolyte_ml"` // one cell at fill mark; default 10 ml for each Ah
	ChargeFactor   float64 `yaml:"charge_factor"`  // 1.02 to 1.30, default 1.15
	// Sensor is the number of the 1-wire sensor that stays in this pack, by which
	// a bay recognises it; "" for none.
	Sensor string `yaml:"sensor"`
}
