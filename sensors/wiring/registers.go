package wiring

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"bayward/agent/reading"
)

// Line is a serial line or connection with devices that speak Modbus.
type Line struct {
	Name string `yaml:"name" required:"yes"` // as site
	URL  string `yaml:"url" required:"yes"`  // rtu:///dev/ttyUSB0 or tcp://host:port
	// Baud, Parity and StopBits are for rtu.
	Baud      int    `yaml:"baud" accept:"1200, 2400, 4800, 9600, 19200, 38400, 57600 or 115200" default:"19200"`
	Parity    string `yaml:"parity" accept:"none, even or odd" default:"even"`
	StopBits  int    `yaml:"stop_bits" accept:"1 or 2" default:"1"`
	TimeoutMS int    `yaml:"timeout_ms" accept:"50 to 1000 ms" default:"300"` // how long an answer may take
}

// Timeout returns TimeoutMS as a duration.
func (l *Line) Timeout() time.Duration { return time.Duration(l.TimeoutMS) * time.Millisecond }

// Takes estimates how long one request takes: eight bytes, an answer of at most nine, each
// of eleven bits, a silence of three and a half after each (1.75 ms above 19200 baud;
// Modbus over Serial Line V1.02, sections 2.5.1 and 2.5.1.1), and the 20 ms of a usual
// device (common practice, no source). A line without a baud rate is as fast as its
// devices.
func (l *Line) Takes() time.Duration {
	const bits, device, longestGap = 11, 20 * time.Millisecond, 1750 * time.Microsecond
	if l.Baud == 0 {
		return device
	}
	char := bits * time.Second / time.Duration(l.Baud)
	gap := 7 * char / 2
	if l.Baud > 19200 {
		gap = longestGap
	}
	return (8+9)*char + 2*gap + device
}

// Requests returns how many requests a reading of the register takes.
func (r *Register) Requests() int {
	n := 1
	for _, more := range []bool{r.Status != nil, r.Counter != nil, r.Age != nil} {
		if more {
			n++
		}
	}
	return n
}

// Register is a value of a device on a Modbus line that is read in place of a wired
// part: value = (register - zero) * scale. Nothing is ever written.
type Register struct {
	Reading string `yaml:"reading" accept:"<readings>"`
	Line    string `yaml:"line" required:"yes"` // of modbus, by its name
	Unit    int    `yaml:"unit" accept:"1 to 255"`
	Table   string `yaml:"table" accept:"holding, input, coil or discrete"`
	Address int    `yaml:"address" accept:"0 to 65535"` // as in the request, counted from 0
	Type    string `yaml:"type" accept:"uint16, int16, uint32, int32, float32 or bit" default:"uint16"`
	// LowWordFirst: of two words the low one is at the address.
	LowWordFirst bool    `yaml:"low_word_first"`
	Bit          int     `yaml:"bit" accept:"0 to 15" default:"0"` // of a register, for type bit
	Scale        float64 `yaml:"scale" accept:"-1000000 to 1000000" default:"1"`
	Zero         float64 `yaml:"zero" accept:"-10000000000 to 10000000000" default:"0"`
	// Low and High are the limits of the value, in its unit; outside it is not believed.
	Low  float64 `yaml:"low"`
	High float64 `yaml:"high"`
	// FaultValues are values of the register that mean a failure, before scaling.
	FaultValues []float64        `yaml:"fault_values"`
	Status      *RegisterStatus  `yaml:"status"`
	Counter     *RegisterCounter `yaml:"counter"`
	Age         *RegisterAge     `yaml:"age"`
}

// RegisterStatus is a register of the same table that shows whether the value may be
// used.
type RegisterStatus struct {
	Address int `yaml:"address" accept:"0 to 65535"`
	Good    int `yaml:"good" accept:"0 to 65535"` // what it holds then
}

// RegisterCounter is a register of the same table that changes while the device lives. It
// vouches for all registers of the bay in that device.
type RegisterCounter struct {
	Address int     `yaml:"address" accept:"0 to 65535"`
	WithinS float64 `yaml:"within_seconds" accept:"2 to 20 s" default:"5"`
}

// RegisterAge is a register of the same table with the age of the value.
type RegisterAge struct {
	Address int     `yaml:"address" accept:"0 to 65535"`
	UnitS   float64 `yaml:"unit_seconds" accept:"0.001 to 60 s" default:"1"` // of the age
}

// Sensor returns what the register is read for.
func (r *Register) Sensor() reading.Sensor {
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		if s.String() == r.Reading {
			return s
		}
	}
	return reading.NoSensor
}

// ShowsLife reports whether anything shows that the device of a register still measures:
// something of its own, or the counter of another register of that device.
func (p *Parts) ShowsLife(r *Register) bool {
	return len(r.FaultValues) > 0 || r.Status != nil || r.Age != nil || slices.ContainsFunc(p.Registers, func(other Register) bool {
		return other.Counter != nil && other.Line == r.Line && other.Unit == r.Unit
	})
}

// Key is the register as what is proven of it holds for: everything that is configured.
func (r *Register) Key() string {
	raw, err := json.Marshal(r)
	if err != nil {
		return "" // never happens: only finite numbers and words are encoded
	}
	return string(raw)
}

// Register returns the register that a sensor is read from, nil for a wired one.
func (p *Parts) Register(s reading.Sensor) *Register {
	for i := range p.Registers {
		if p.Registers[i].Sensor() == s {
			return &p.Registers[i]
		}
	}
	return nil
}

// Has reports whether a sensor is there, wired or in a register.
func (p *Parts) Has(s reading.Sensor) bool {
	if p.Register(s) != nil {
		return true
	}
	t := p.Temperature
	there, isPart := map[reading.Sensor]bool{
		reading.PackVoltage: p.Voltage != nil, reading.PackCurrent: p.Current != nil, reading.PackTemperature: t != nil,
		reading.AmbientTemperature: t != nil && (t.Ambient != "" || t.RTDOf("ambient") != nil), reading.ElectrolyteLevel: p.Level != nil, reading.Hydrogen: p.Hydrogen != nil,
	}[s]
	return isPart && there || p.IsContact(s)
}

// IsContact reports whether a sensor is a contact on a line of the Pi.
func (p *Parts) IsContact(s reading.Sensor) bool {
	return slices.ContainsFunc(p.Contacts(), func(c SensorContact) bool { return c.Sensor == s && c.Contact != nil })
}

// line names the pack's thermometer.
func (t *Temperature) line() string {
	if t == nil {
		return ""
	}
	return cmp.Or(rtdLine(t.RTDOf("pack")), t.Pack)
}

// SensorLine names where a contact or the pack's temperature is read, wired or in a
// register; see [Contact.Line].
func (p *Parts) SensorLine(s reading.Sensor) string {
	if r := p.Register(s); r != nil {
		return fmt.Sprintf("register %d, %s, unit %d of %s", r.Address, r.Table, r.Unit, r.Line)
	}
	for _, c := range p.Contacts() {
		if c.Sensor == s {
			return c.Contact.Line()
		}
	}
	switch {
	case s == reading.PackTemperature:
		return p.Temperature.line()
	case s == reading.AmbientTemperature && p.Temperature != nil:
		return cmp.Or(rtdLine(p.Temperature.RTDOf("ambient")), p.Temperature.Ambient)
	case s == reading.PackVoltage && p.Voltage != nil:
		return p.Voltage.line(p.I2C)
	case s == reading.PackCurrent && p.Current != nil:
		return p.Current.line(p.I2C)
	case s == reading.ElectrolyteLevel && p.Level != nil:
		return p.Level.line(p.I2C)
	case s == reading.Hydrogen && p.Hydrogen != nil:
		return p.Hydrogen.line(p.I2C)
	}
	return ""
}

// line names the probe's converter, and what gives it its test pulses.
func (l *Level) line(i2c string) string {
	in := l.Input
	if l.Expander == 0 {
		return in.line(i2c)
	}
	in.Rate = 0 // the pulses have their own
	return fmt.Sprintf("%s, test pulses from the TCA9534 at 0x%x", in.line(i2c), uint16(l.Expander))
}

// rtdLine names a platinum thermometer, "" for none.
func rtdLine(r *RTD) string {
	if r == nil {
		return ""
	}
	return fmt.Sprintf("%s behind a MAX31865 at SPI %s", r.Element, PlainBus(r.SPI))
}
