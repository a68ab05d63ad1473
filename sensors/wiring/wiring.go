// Package wiring describes what is connected to a Pi for one bay: which part, on
// which line, channel or bus, and what its signal means. The configuration uses
// these types, and so does the code that opens, simulates or proves the parts.
package wiring

import (
	"time"

	"bayward/agent/reading"
	"bayward/sensors/level"
)

// Parts lists every part connected to the Pi for one bay. Parts that are not
// fitted are left out.
type Parts struct {
	I2C         string       `yaml:"i2c"` // bus name or number, such as "1"
	Voltage     *Voltage     `yaml:"voltage"`
	Current     *Current     `yaml:"current"`
	Temperature *Temperature `yaml:"temperature"`
	Level       *Level       `yaml:"level"`
	Hydrogen    *Analog      `yaml:"hydrogen"` // % by volume = (volts - zero_v) * per_volt
	Relay       *Relay       `yaml:"relay"`
	Airflow     *Contact     `yaml:"airflow"`          // the fan's airflow switch
	Complete    *Contact     `yaml:"charger_complete"` // the charger's own contact
}

// Input is one input of an ADS1115 converter.
type Input struct {
	ADC     Address `yaml:"adc" accept:"0x48 to 0x4b, the addresses of an ADS1115"`                           // I²C address, set by the ADDR pin
	Channel int     `yaml:"channel" accept:"0 to 3"`                                                          // measured against ground
	RangeV  float64 `yaml:"range_v" accept:"6.144, 4.096, 2.048, 1.024, 0.512 or 0.256 V" default:"4.096"`    // full scale; for a shunt the default is 0.256
	Rate    int     `yaml:"rate" accept:"8, 16, 32, 64, 128, 250, 475 or 860 samples a second" default:"128"` // samples a second
}

// Address is an I²C address. It may be written in hexadecimal, such as 0x48.
type Address uint16

// Voltage is the pack voltage through a divider:
// volts = (input - offset_v) * ratio.
type Voltage struct {
	Input   `yaml:",inline"`
	Ratio   float64 `yaml:"ratio" accept:"above 1, to 1000: the sum of both resistors over the lower one"` // (upper + lower resistor) / lower resistor
	OffsetV float64 `yaml:"offset_v" accept:"-0.5 to 0.5 V at the input" default:"0"`
}

// Current is the pack current through a shunt (differential, millivolts) or a
// Hall sensor (volts around a zero): amperes = (input - zero_v) * amperes_per_volt.
type Current struct {
	Input          `yaml:",inline"`
	Kind           string  `yaml:"kind" accept:"shunt or hall"`
	Minus          *int    `yaml:"minus"`                           // shunt: channel of the other side; (channel, minus) is 0-1, 0-3, 1-3 or 2-3
	AmperesPerVolt float64 `yaml:"amperes_per_volt" required:"yes"` // a negative factor reverses the direction; not 0
	ZeroV          float64 `yaml:"zero_v"`
}

// Temperature names the 1-wire sensors by their numbers, such as
// "28-0316a2795bff".
type Temperature struct {
	// Pack is the sensor that stays in the bay or in its only pack. If it is left out,
	// the plugged-in pack's own sensor is read.
	Pack string `yaml:"pack"`
	// Bus is the 1-wire bus that the packs of this bay are plugged into, such as
	// "w1_bus_master2"; if it is left out, all are searched. Only for packs identified by their
	// sensors.
	Bus     string  `yaml:"bus"`
	Ambient string  `yaml:"ambient"`                                  // left out: no sensor for the air
	OffsetC float64 `yaml:"offset_c" accept:"-5 to 5 °C" default:"0"` // added to the pack's value
	// On is where the pack's sensor sits. A sensor on the case shows less than the
	// electrolyte's excess over the air.
	On string `yaml:"on" accept:"case or electrolyte" default:"case"`
}

// Analog is a linear sensor on one input: value = (volts - zero_v) * per_volt. Its zero
// lives: below half of zero_v there is no sensor, however clean the air.
type Analog struct {
	Input   `yaml:",inline"`
	ZeroV   float64 `yaml:"zero_v" accept:"0.2 to 3 V in clean air; a sensor that sends 0 V there cannot be told from a broken wire"`
	PerVolt float64 `yaml:"per_volt" accept:"0.01 to 100 % by volume for one volt"`
}

// Level is the level probe in the pilot cell. Its kind determines which settings it
// accepts.
type Level struct {
	Input          `yaml:",inline"`
	Kind           level.Kind `yaml:"kind" accept:"<kinds of level probe>"`
	level.Settings `yaml:",inline"`
	// FastMS is how long the plates must read bare before the relay opens without
	// waiting for a tick. If it is left out, only the ticks read the level.
	FastMS float64 `yaml:"fast_ms" accept:"20 to 1000 ms" default:""`
}

// Relay is the charge-enable output. It is open when its pin is low.
type Relay struct {
	Pin         string   `yaml:"pin" required:"yes"`             // line name, such as GPIO17
	Heartbeat   string   `yaml:"heartbeat"`                      // line of the watchdog relay, toggled in each good tick; wired sensors need it, or no_heartbeat
	NoHeartbeat string   `yaml:"no_heartbeat" json:",omitempty"` // why there is no watchdog relay, in words; check and page keep reporting it
	Feedback    *Contact `yaml:"feedback"`                       // optional mirror contact of the contactor
}

// Contact is a contact input. A broken wire reads like an open contact.
type Contact struct {
	Pin       string `yaml:"pin" required:"yes"`
	ActiveLow bool   `yaml:"active_low"` // true: the closed contact makes the line low, with the pull-up on
	// Normally is the contact at rest: with the contactor released, without air, with
	// the charge not complete. Left out: open.
	Normally string `yaml:"normally" json:",omitempty" accept:"open or closed" default:""`
}

// Breaks reports whether it is a break contact: open while what it shows is so.
func (c *Contact) Breaks() bool { return c.Normally == "closed" }

// Line names the pin, the level that means closed, and a contact that is closed at rest:
// what is proven of a contact holds for these. It is "" without a contact.
func (c *Contact) Line() string {
	if c == nil {
		return ""
	}
	line := c.Pin + " high"
	if c.ActiveLow {
		line = c.Pin + " low"
	}
	if c.Breaks() {
		line += ", normally closed"
	}
	return line
}

// SensorContact is a contact input and the sensor that it is.
type SensorContact struct {
	Key     string // in the configuration, such as "relay.feedback"
	Sensor  reading.Sensor
	Contact *Contact // nil: not fitted
}

// Contacts lists the contact inputs. Configuration, driver and simulator loop over
// it.
func (p *Parts) Contacts() []SensorContact {
	feedback := SensorContact{"relay.feedback", reading.ContactorFeedback, nil}
	if p.Relay != nil {
		feedback.Contact = p.Relay.Feedback
	}
	return []SensorContact{
		feedback,
		{"airflow", reading.Airflow, p.Airflow},
		{"charger_complete", reading.ChargerComplete, p.Complete},
	}
}

// BareWithin returns FastMS as a duration.
func (l *Level) BareWithin() time.Duration {
	return time.Duration(l.FastMS * float64(time.Millisecond))
}

// supplyMaxV is the highest supply of an ADS1115 (its data sheet, recommended
// operating conditions). An input cannot be read above the supply, whatever its
// range.
const supplyMaxV = 5.5

// TopV returns the highest input voltage that can be read.
func (in *Input) TopV() float64 { return min(in.RangeV, supplyMaxV) }
