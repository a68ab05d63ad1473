package config

import (
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"bayward/agent/reading"
	"bayward/agent/words"
	"bayward/sensors/wiring"
)

var wiredDevice = regexp.MustCompile(`^/dev/[A-Za-z0-9._/-]{1,64}$`)

var lineRule = say("must-be-rtu-with-the-device-of")

// lines checks the Modbus lines.
func (c *checker) modbus(cfg *Config) {
	first := map[string]int{}
	for i := range cfg.Modbus {
		l, at := &cfg.Modbus[i], fmt.Sprintf("modbus[%d]", i)
		if c.bad[at] {
			continue
		}
		c.name(at+".name", l.Name)
		c.unique(at+".name", l.Name, first)
		c.fields(at, l)
		if !c.missing(at+".url", lineRule) && !c.bad[at+".url"] && !isLine(l.URL) {
			c.reject(at+".url", lineRule)
			continue
		}
		c.claimNamed("line", l.URL, at+".url", "")
		for _, key := range []string{"baud", "parity", "stop_bits"} {
			if strings.HasPrefix(l.URL, "tcp:") && c.present(at+"."+key) {
				c.reject(at+"."+key, say("must-be-left-out-it-is-for"))
			}
		}
	}
}

func isLine(s string) bool {
	u, err := url.Parse(s)
	if err != nil || u.User != nil || u.RawQuery != "" || u.Fragment != "" {
		return false
	}
	switch u.Scheme {
	case "rtu":
		return u.Host == "" && wiredDevice.MatchString(u.Path) && !strings.Contains(u.Path, "..")
	case "tcp":
		return u.Hostname() != "" && isPort(u.Port(), 1) && u.Path == ""
	}
	return false
}

// readings lists what a register may be read for.
func readings() []string {
	var all []string
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		all = append(all, s.String())
	}
	return all
}

// registers checks what a bay reads over Modbus.
func (c wiringCheck) registers(field string, w *wiring.Parts, lines []wiring.Line) {
	seen := map[reading.Sensor]bool{}
	for i := range w.Registers {
		r, at := &w.Registers[i], fmt.Sprintf("%s.registers[%d]", field, i)
		if c.bad[at] {
			continue
		}
		c.fields(at, r)
		c.companions(at, r)
		c.onLine(at, r, lines)
		c.table(at, r)
		s := r.Sensor()
		switch key := wiredKey(w, s); {
		case c.bad[at+".reading"] || !c.present(at+".reading"):
		case key != "":
			c.reject(at+".reading", say("must-not-be-read-here-is-wired", key))
		case seen[s]:
			c.reject(at+".reading", say("must-not-be-read-twice"))
		default:
			seen[s] = true
			c.value(at, r, s, w)
		}
	}
}

// wiredKey is the key of the part that is wired for a sensor, "" for none.
func wiredKey(w *wiring.Parts, s reading.Sensor) string {
	wired := *w
	wired.Registers = nil
	if !wired.Has(s) || s == reading.PackTemperature && w.Temperature.Pack == "" && w.Temperature.RTDOf("pack") == nil { // or the temperature has only the air's
		return ""
	}
	for _, contact := range w.Contacts() {
		if contact.Sensor == s {
			return contact.Key
		}
	}
	return map[reading.Sensor]string{
		reading.PackVoltage: "voltage", reading.PackCurrent: "current", reading.PackTemperature: "temperature",
		reading.AmbientTemperature: "temperature.ambient", reading.ElectrolyteLevel: "level", reading.Hydrogen: "hydrogen",
	}[s]
}

// companions checks the registers beside the value.
func (c wiringCheck) companions(at string, r *wiring.Register) {
	if r.Status != nil && !c.bad[at+".status"] {
		c.fields(at+".status", r.Status)
	}
	if r.Counter != nil && !c.bad[at+".counter"] {
		c.fields(at+".counter", r.Counter)
	}
	if r.Age != nil && !c.bad[at+".age"] {
		c.fields(at+".age", r.Age)
	}
}

// onLine: the line is there, and has such a device.
func (c wiringCheck) onLine(at string, r *wiring.Register, lines []wiring.Line) {
	names := make([]string, len(lines))
	for i := range lines {
		names[i] = lines[i].Name
	}
	line, unit := at+".line", at+".unit"
	i := slices.Index(names, r.Line)
	switch {
	case c.missing(line, say("the-name-of-a-line-under-modbus")) || c.bad[line]:
	case i < 0:
		c.reject(line, say("must-be-the-name-of-a-line", strings.Join(names, ", ")))
	case strings.HasPrefix(lines[i].URL, "rtu:") && r.Unit > 247 && !c.bad[unit]:
		c.reject(unit, say("must-be-1-to-247-on-a"))
	}
}

// table: which tables have which types.
func (c wiringCheck) table(at string, r *wiring.Register) {
	typ, table := at+".type", at+".table"
	bits := r.Table == "coil" || r.Table == "discrete"
	switch {
	case !c.usable(typ, table) || !c.present(table):
	case bits && !c.present(typ):
		r.Type = "bit"
	case bits && r.Type != "bit":
		c.reject(typ, say("must-be-bit-or-be-left-out"))
	}
	if r.Bit != 0 && (bits || r.Type != "bit") && c.usable(typ, table) {
		c.reject(at+".bit", say("must-be-left-out-it-is-for-2"))
	}
	c.scale(at, r)
}

// scale checks what is done with the number in the register.
func (c wiringCheck) scale(at string, r *wiring.Register) {
	if r.Scale == 0 && c.usable(at+".scale") {
		c.reject(at+".scale", say("must-not-be-0"))
	}
	for _, of := range r.FaultValues {
		if !(of >= -1<<31 && of <= 1<<32) && c.usable(at+".fault_values") {
			c.reject(at+".fault_values", say("must-be-values-that-the-register-can"))
		}
	}
}

// span is what the limits of a value must include: what the rules judge it by.
type span struct {
	low, high float64
	why       words.Sentence
}

// needs is the span of a sensor; ok is false for a contact.
func (c wiringCheck) needs(s reading.Sensor) (of span, ok bool) {
	p := c.pack
	of, ok = map[reading.Sensor]span{
		reading.PackVoltage:        {0, cellMaxV * float64(p.Cells), say("v-no-pack-and-cells-on-charge", p.Cells)},
		reading.PackCurrent:        {-p.CapacityAh / 4, p.CapacityAh / 4, say("a-a-quarter-of-the-capacity-in")},
		reading.PackTemperature:    {-10, 70, say("plain", "°C")},
		reading.AmbientTemperature: {-10, 50, say("plain", "°C")},
		reading.ElectrolyteLevel:   {0, p.FillMarkMM, say("mm-bare-plates-and-the-fill-mark")},
		reading.Hydrogen:           {0, 2.2, say("by-volume-charging-stops-at-2")},
	}[s]
	return of, ok
}

// value checks the limits of a value, and that something shows that the device lives.
func (c wiringCheck) value(at string, r *wiring.Register, s reading.Sensor, w *wiring.Parts) {
	of, measured := c.needs(s)
	if !measured {
		if r.Type != "bit" && c.usable(at+".type", at+".table") {
			c.reject(at+".type", say("must-be-bit-a-contact-is-open"))
		}
		c.contactLimits(at, r)
		c.lives(at, r, s, w)
		return
	}
	for key, ok := range map[string]bool{at + ".low": r.Low <= of.low, at + ".high": r.High >= of.high} {
		rule := say("must-include-to", plain(of.low), plain(of.high), of.why)
		if !c.missing(key, rule) && !ok && !c.bad[key] {
			c.reject(key, rule)
		}
	}
	c.lives(at, r, s, w)
}

// lives requires that a device which has failed cannot let a charge go on.
func (c wiringCheck) lives(at string, r *wiring.Register, s reading.Sensor, w *wiring.Parts) {
	vital := s == reading.ElectrolyteLevel || s == reading.Hydrogen || s == reading.Airflow
	if vital && !w.ShowsLife(r) && !c.faulty(at) {
		c.missing(at+".status", say("a-register-keeps-its-last-value-when"))
	}
}

// contactLimits: a contact is 0 or 1, turned with zero 1 and scale -1.
func (c wiringCheck) contactLimits(at string, r *wiring.Register) {
	for _, key := range []string{at + ".low", at + ".high"} {
		if c.present(key) {
			c.reject(key, say("must-be-left-out-a-contact-is"))
		}
	}
	r.Low, r.High = 0, 1
	if !(r.Scale == 1 && r.Zero == 0 || r.Scale == -1 && r.Zero == 1) && c.usable(at+".scale", at+".zero") {
		c.reject(at+".scale", say("must-be-left-out-for-a-contact"))
	}
}
