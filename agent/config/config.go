// Package config turns one YAML file into checked, typed settings. Every
// complaint names the file, the line, the field, the value and what is
// accepted; an unknown key is an error. What is left out takes a default that
// can only be as careful or more careful than the table of the design.
package config

import "bayward/sensors/level"

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
	Packs  []string `yaml:"packs"`
	Wiring Wiring   `yaml:"wiring"`
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

// Wiring names every part that is connected to the Pi for one bay. Nil parts
// are not fitted.
type Wiring struct {
	I2C         string       `yaml:"i2c"` // bus name or number, such as "1"
	Voltage     *Voltage     `yaml:"voltage"`
	Current     *Current     `yaml:"current"`
	Temperature *Temperature `yaml:"temperature"`
	Level       *Level       `yaml:"level"`
	Hydrogen    *Analog      `yaml:"hydrogen"` // % by volume = (volts - zero_v) * per_volt
	Relay       *Relay       `yaml:"relay"`
	Airflow     *Contact     `yaml:"airflow"`          // the fan's proof switch
	Complete    *Contact     `yaml:"charger_complete"` // the charger's own contact
}

// Input is one input of an ADS1115 converter.
type Input struct {
	ADC     Address `yaml:"adc"`     // I²C address, 0x48 to 0x4b
	Channel int     `yaml:"channel"` // 0 to 3, against ground
	RangeV  float64 `yaml:"range_v"` // full scale: 6.144, 4.096, 2.048, 1.024, 0.512, 0.256; default 4.096, for a shunt 0.256
	Rate    int     `yaml:"rate"`    // samples a second: 8 16 32 64 128 250 475 860; default 128
}

// Address is an I²C address. It may be written in hexadecimal, as 0x48.
type Address uint16

// Voltage is the pack voltage through a divider:
// volts = (input - offset_v) * ratio.
type Voltage struct {
	Input   `yaml:",inline"`
	Ratio   float64 `yaml:"ratio"` // (upper + lower resistor) / lower resistor, above 1
	OffsetV float64 `yaml:"offset_v"`
}

// Current is the pack current through a shunt (differential, millivolts) or a
// Hall sensor (volts around a zero): amperes = (input - zero_v) * amperes_per_volt.
type Current struct {
	Input          `yaml:",inline"`
	Kind           string  `yaml:"kind"`             // "shunt" or "hall"
	Minus          *int    `yaml:"minus"`            // shunt: channel of the other side; (channel, minus) is 0-1, 0-3, 1-3 or 2-3
	AmperesPerVolt float64 `yaml:"amperes_per_volt"` // negative turns the direction; not 0
	ZeroV          float64 `yaml:"zero_v"`
}

// Temperature names the 1-wire sensors by their numbers, such as
// "28-0316a2795bff".
type Temperature struct {
	// Pack is the sensor that stays in the bay, or in its only pack. "" reads
	// the sensor that the plugged-in pack has of its own.
	Pack string `yaml:"pack"`
	// Bus is the 1-wire bus that the packs of this bay are plugged into, such
	// as "w1_bus_master2"; "" looks on all. Only for packs that are recognised.
	Bus     string  `yaml:"bus"`
	Ambient string  `yaml:"ambient"`  // "" when there is none
	OffsetC float64 `yaml:"offset_c"` // added to the pack's value, -5 to 5
	// On is where the pack's sensor sits: "case" or "electrolyte"; "" is "case". A
	// sensor on the case shows less than the electrolyte's excess over the air.
	On string `yaml:"on"`
}

// Analog is a linear sensor on one input: value = (volts - zero_v) * per_volt.
type Analog struct {
	Input   `yaml:",inline"`
	ZeroV   float64 `yaml:"zero_v"`
	PerVolt float64 `yaml:"per_volt"`
}

// Level is the level probe in the pilot cell. Its kind says which of the
// settings it takes.
type Level struct {
	Input          `yaml:",inline"`
	Kind           level.Kind `yaml:"kind"`
	level.Settings `yaml:",inline"`
	// FastMS is for how long bare plates must show before the relay opens without
	// waiting for a tick; 0 leaves the level to the ticks.
	FastMS float64 `yaml:"fast_ms"`
}

// Relay is the charge-enable output. It is open when its pin is low.
type Relay struct {
	Pin       string   `yaml:"pin"`       // line name, such as GPIO17
	Heartbeat string   `yaml:"heartbeat"` // optional second line, toggled once for each good tick
	Feedback  *Contact `yaml:"feedback"`  // optional contact of the contactor
}

// Contact is a contact input.
type Contact struct {
	Pin       string `yaml:"pin"`
	ActiveLow bool   `yaml:"active_low"` // true: a low line means closed, with the pull-up on
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
