// Package wiring describes what is connected to a Pi for one bay: which part, on
// which line, channel or bus, and what its signal means. The configuration uses
// these types, and so does the code that opens, simulates or proves the parts.
package wiring

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"bayward/agent/reading"
	"bayward/sensors/converter"
	"bayward/sensors/families"
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
	// Registers are read over Modbus in place of parts that are wired to the Pi.
	Registers []Register `yaml:"registers" json:",omitempty"`
}

// Input is one input of a converter. What each key accepts is in the family's row of
// sensors/families.
type Input struct {
	Converter string  `yaml:"converter" json:",omitempty" accept:"<families of converters>" default:""` // ads1115 if left out
	ADC       Address `yaml:"adc"`                                                                      // address on I²C, set by the chip's pins
	SPI       string  `yaml:"spi" json:",omitempty"`                                                    // for a converter on SPI instead: bus and chip select, such as "0.0"
	Channel   int     `yaml:"channel" required:"yes"`                                                   // measured against ground
	RangeV    float64 `yaml:"range_v"`                                                                  // full scale; for a shunt the default is the narrowest
	Rate      int     `yaml:"rate"`                                                                     // samples a second
}

// Family returns the row of the input's converter; ok is false if there is none.
func (in *Input) Family() (f *converter.Family, ok bool) { return families.Named(in.Converter) }

// Address is an I²C address. It may be written in hexadecimal, such as 0x48.
type Address uint16

// Voltage is the pack voltage through a divider:
// volts = (input - offset_v) * ratio.
type Voltage struct {
	Input   `yaml:",inline"`
	Ratio   float64 `yaml:"ratio" accept:"1 to 1000: the sum of both resistors over the lower one, or 1 without a divider"` // (upper + lower resistor) / lower resistor
	OffsetV float64 `yaml:"offset_v" accept:"-0.5 to 0.5 V at the input" default:"0"`
}

// Current is the pack current through a shunt (differential, millivolts) or a
// Hall sensor (volts around a zero): amperes = (input - zero_v) * amperes_per_volt.
type Current struct {
	Input          `yaml:",inline"`
	Kind           string  `yaml:"kind" accept:"shunt or hall"`
	Minus          *int    `yaml:"minus"`                           // shunt: channel of the other side, where the converter does not take both
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
	// RTD lists platinum thermometers on SPI, in place of 1-wire sensors.
	RTD []RTD `yaml:"rtd" json:",omitempty"`
}

// RTD is a platinum resistance thermometer behind a MAX31865.
type RTD struct {
	Of           string  `yaml:"of" accept:"pack or ambient"`
	SPI          string  `yaml:"spi" required:"yes"` // bus and chip select, such as SPI0.1
	Element      string  `yaml:"element" accept:"pt100 or pt1000" default:"pt100"`
	Wires        int     `yaml:"wires" accept:"2, 3 or 4" default:"3"`
	ReferenceOhm float64 `yaml:"reference_ohm" accept:"200 to 10000 ohm, the resistor on the board"`
	MainsHz      int     `yaml:"mains_hz" accept:"50 or 60 Hz, which the filter suppresses" default:"50"`
}

// NominalOhm is the element's resistance at 0 °C.
func (r *RTD) NominalOhm() float64 {
	if r.Element == "pt1000" {
		return 1000
	}
	return 100
}

// RTDOf returns the platinum thermometer of the pack or the air ("ambient"), nil for
// none.
func (t *Temperature) RTDOf(what string) *RTD {
	if t == nil {
		return nil
	}
	for i := range t.RTD {
		if t.RTD[i].Of == what {
			return &t.RTD[i]
		}
	}
	return nil
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
	// Expander is the I²C address of the TCA9534 whose pins give the test pulses, for the
	// kinds that need them: 0x20 to 0x27, or 0x38 to 0x3f.
	Expander Address `yaml:"expander" json:",omitempty"`
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

// ContactAt is where a contact is in the parts.
type ContactAt struct {
	Key    string
	Sensor reading.Sensor
	Of     func(*Parts) **Contact // nil without the part that it belongs to
}

// ContactTable has a row for each contact input. Configuration, driver, simulator and
// the default wiring loop over it.
var ContactTable = []ContactAt{
	{"relay.feedback", reading.ContactorFeedback, func(p *Parts) **Contact {
		if p.Relay == nil {
			return nil
		}
		return &p.Relay.Feedback
	}},
	{"airflow", reading.Airflow, func(p *Parts) **Contact { return &p.Airflow }},
	{"charger_complete", reading.ChargerComplete, func(p *Parts) **Contact { return &p.Complete }},
}

// Contacts lists the contact inputs.
func (p *Parts) Contacts() []SensorContact {
	all := make([]SensorContact, len(ContactTable))
	for i, row := range ContactTable {
		all[i] = SensorContact{row.Key, row.Sensor, nil}
		if at := row.Of(p); at != nil {
			all[i].Contact = *at
		}
	}
	return all
}

// Inputs lists the inputs of converters.
func (p *Parts) Inputs() []*Input {
	var all []*Input
	if p.Voltage != nil {
		all = append(all, &p.Voltage.Input)
	}
	if p.Current != nil {
		all = append(all, &p.Current.Input)
	}
	if p.Level != nil {
		all = append(all, &p.Level.Input)
	}
	if p.Hydrogen != nil {
		all = append(all, &p.Hydrogen.Input)
	}
	return all
}

// NeedsI2C reports whether any converter is on I²C.
func (p *Parts) NeedsI2C() bool {
	return slices.ContainsFunc(p.Inputs(), func(in *Input) bool {
		f, ok := in.Family()
		return !ok || f.Bus == converter.I2C
	})
}

// BareWithin returns FastMS as a duration.
func (l *Level) BareWithin() time.Duration {
	return time.Duration(l.FastMS * float64(time.Millisecond))
}

// TopV returns the highest input voltage that can be read: an input cannot be read
// above the converter's limit, whatever its range.
func (in *Input) TopV() float64 {
	f, ok := in.Family()
	if !ok || in.Channel < 0 || in.Channel >= len(f.Channels) {
		return 0
	}
	return min(in.RangeV, f.Channels[in.Channel].TopV)
}

// StepV returns the step of a reading, 0 for an input that its converter does not have.
func (in *Input) StepV() float64 {
	f, ok := in.Family()
	if !ok || in.Channel < 0 || in.Channel >= len(f.Channels) {
		return 0
	}
	return in.RangeV / f.Channels[in.Channel].Steps
}

// slowShare is how much slower than its rate a converter may be (ADS1115, SBAS444E, and
// ADS1118, SBAS457: data rate ± 10 %).
const slowShare = 0.1

// Longest returns how long one conversion may take; 0 for a converter that has no rate to
// choose.
func (in *Input) Longest() time.Duration {
	f, ok := in.Family()
	rate := in.Rate
	if ok && rate == 0 {
		rate = f.DefaultRate
	}
	if rate == 0 {
		return 0
	}
	return time.Duration(float64(time.Second) / float64(rate) / (1 - slowShare))
}

// line names the input: "ADS1115 at 0x48 on bus 1, input 0, 128 samples a second".
func (in *Input) line(i2c string) string {
	f, ok := in.Family()
	if !ok {
		return ""
	}
	text := fmt.Sprintf("%s at %s, input %d", f.Title, in.Place(i2c), in.Channel)
	if in.Rate != 0 {
		text += fmt.Sprintf(", %d/s", in.Rate)
	}
	return text
}

// Place names the converter's bus and its place on it, such as "0x48 on bus 1" or
// "SPI 0.0", the same for all spellings. i2c is the bay's bus.
func (in *Input) Place(i2c string) string {
	if in.SPI != "" {
		return "SPI " + PlainBus(in.SPI)
	}
	return fmt.Sprintf("0x%x on bus %s", uint16(in.ADC), PlainBus(i2c))
}

// PlainBus returns one name for all spellings of a bus: "1", "01", "I2C1" and
// "/dev/i2c-1" are the same, and so are "0.0", "SPI0.0" and "/dev/spidev0.0".
func PlainBus(name string) string {
	for _, prefix := range []string{"/dev/i2c-", "I2C", "/dev/spidev", "SPI"} {
		if rest, ok := strings.CutPrefix(name, prefix); ok {
			name = rest
			break
		}
	}
	if n, err := strconv.Atoi(name); err == nil {
		return strconv.Itoa(n)
	}
	return name
}
