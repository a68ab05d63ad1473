package config

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"bayward/agent/reading"
	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

// part is one part of a bay's wiring.
type part struct {
	key    string
	needed bool           // required in every bay
	reads  reading.Sensor // what a register may be read for in its place
	there  func(*wiring.Parts) bool
	check  func(c wiringCheck, at string, w *wiring.Parts)
	uses   func(w *wiring.Parts) []use
}

// parts has a row for each part.
var parts = []part{
	{
		"voltage", true, reading.PackVoltage, func(w *wiring.Parts) bool { return w.Voltage != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.voltage(at, w.Voltage) },
		func(w *wiring.Parts) []use { return channel(w, w.Voltage.Input, "channel", "") },
	},
	{
		"current", false, reading.PackCurrent, func(w *wiring.Parts) bool { return w.Current != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.current(at, w.Current) },
		func(w *wiring.Parts) []use {
			in, all := w.Current.Input, channel(w, w.Current.Input, "channel", "")
			if minus := w.Current.Minus; minus != nil && *minus != in.Channel {
				in.Channel = *minus
				all = append(all, channel(w, in, "minus", "")...)
			}
			return all
		},
	},
	{
		"temperature", true, reading.PackTemperature, func(w *wiring.Parts) bool { return w.Temperature != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.temperature(at, w.Temperature) },
		func(w *wiring.Parts) []use {
			all := []use{{"ambient", "1-wire sensor", w.Temperature.Ambient, roomAir}}
			for i := range w.Temperature.RTD {
				all = append(all, rtdUses(&w.Temperature.RTD[i], fmt.Sprintf("rtd[%d].spi", i))...)
			}
			return all
		},
	},
	{
		"level", true, reading.ElectrolyteLevel, func(w *wiring.Parts) bool { return w.Level != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { levelCheck(c).level(at, w) },
		levelUses,
	},
	{
		"hydrogen", false, reading.Hydrogen, func(w *wiring.Parts) bool { return w.Hydrogen != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.hydrogen(at, w.Hydrogen) },
		func(w *wiring.Parts) []use { return channel(w, w.Hydrogen.Input, "channel", roomHydrogen) },
	},
	{
		"relay", true, reading.NoSensor, func(w *wiring.Parts) bool { return w.Relay != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.relay(at, w.Relay) },
		func(w *wiring.Parts) []use {
			all := []use{{"pin", "line", w.Relay.Pin, ""}, {"heartbeat", "line", w.Relay.Heartbeat, ""}}
			if w.Relay.Feedback != nil {
				all = append(all, use{"feedback.pin", "line", w.Relay.Feedback.Pin, ""})
			}
			return all
		},
	},
	{
		"airflow", false, reading.Airflow, func(w *wiring.Parts) bool { return w.Airflow != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.airflow(at, w.Airflow) },
		func(w *wiring.Parts) []use { // a shared contact has one meaning
			return []use{{"pin", "line", w.Airflow.Pin, fmt.Sprintf("%s, active_low %v", roomFan, w.Airflow.ActiveLow)}}
		},
	},
}

// allParts are the parts with a row of their own, and the contacts without one.
var allParts = func() []part {
	all := slices.Clone(parts)
	for _, row := range wiring.ContactTable {
		if strings.Contains(row.Key, ".") || slices.ContainsFunc(parts, func(p part) bool { return p.key == row.Key }) {
			continue
		}
		all = append(all, part{
			row.Key, false, row.Sensor, func(w *wiring.Parts) bool { return *row.Of(w) != nil },
			func(c wiringCheck, at string, w *wiring.Parts) { c.contact(at, *row.Of(w)) },
			func(w *wiring.Parts) []use { return []use{{"pin", "line", (*row.Of(w)).Pin, ""}} },
		})
	}
	return all
}()

// levelUses returns what a level probe takes: one input, or the three of a probe in two
// wires, and the expander of its test pulses.
func levelUses(w *wiring.Parts) []use {
	l := w.Level
	all := channel(w, l.Input, "channel", "")
	if l.Kind.Pulses() == level.BothPulses {
		for _, n := range []int{1, 3} {
			in := l.Input
			in.Channel = n
			all = append(all, channel(w, in, "channel", "")...)
		}
	}
	if l.Expander != 0 {
		all = append(all, use{"expander", "expander on bus " + wiring.PlainBus(w.I2C) + ",", fmt.Sprintf("0x%x", uint16(l.Expander)), ""})
	}
	return all
}

// wiringCheck checks the wiring of a bay for one of its packs.
type wiringCheck struct {
	*checker
	pack      *Pack
	simulated bool
	lines     []wiring.Line // of Modbus
}

func (c wiringCheck) parts(field string, w *wiring.Parts) {
	if w.NeedsI2C() || c.present(field+".i2c") {
		c.bus(field+".i2c", w.I2C)
	}
	for _, p := range allParts {
		at := field + "." + p.key
		switch {
		case p.there(w) && !c.bad[at]:
			p.check(c, at, w)
		case p.needed && !p.there(w) && w.Register(p.reads) == nil:
			c.missing(at, say("without-it-nothing-could-ever-be-granted"))
		}
	}
	c.registers(field, w, c.lines)
}

var (
	wiredBus     = regexp.MustCompile(`^(I2C|/dev/i2c-)?[0-9]{1,2}$`)
	simulatedBus = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,31}$`)
)

func (c wiringCheck) bus(field, v string) {
	form, rule := wiredBus, say("must-be-the-number-of-an-i")
	if c.simulated {
		form, rule = simulatedBus, say("must-be-a-word-of-letters-digits")
	}
	if !c.missing(field, rule) && !form.MatchString(v) {
		c.reject(field, rule)
	}
}

// cellMaxV is above the highest cell voltage of any charger: an equalizing charge
// ends near 2.75 V (from memory).
const cellMaxV = 2.9

func (c wiringCheck) voltage(field string, v *wiring.Voltage) {
	c.fields(field, v)
	c.input(field, &v.Input, false)
	ratio, need := field+".ratio", float64(c.pack.Cells)*cellMaxV
	if reach := (v.TopV() - v.OffsetV) * v.Ratio; c.inputUsable(field, ratio, field+".offset_v") && reach <= need {
		c.reject(ratio, say("must-be-larger-with-it-the-input", reach, c.pack.Cells, need))
	}
}

func (c wiringCheck) current(field string, v *wiring.Current) {
	c.fields(field, v)
	c.input(field, &v.Input, v.Kind == "shunt")
	c.minus(field+".minus", v)
	c.zero(field, v.ZeroV, -v.RangeV, v.RangeV)
	scale := field + ".amperes_per_volt"
	if c.missing(scale, say("amperes-for-one-volt-at-the-input")) {
		return
	}
	if v.AmperesPerVolt == 0 || v.AmperesPerVolt < -1e6 || v.AmperesPerVolt > 1e6 {
		c.reject(scale, say("must-be-1000000-to-1000000-and-not"))
	}
	c.currentReach(field, v)
}

// zero checks that a zero is within the range of its input, which is itself a
// setting.
func (c wiringCheck) zero(field string, v, low, high float64) {
	if at := field + ".zero_v"; c.present(at) {
		c.number(at, v, ranged(low, high, "V, the range of the input"))
	}
}

// currentReach: the current of a charger for C-rate 1/4, the strongest in usual
// service (common practice, no source), must not over-range the input.
func (c wiringCheck) currentReach(field string, v *wiring.Current) {
	scale := field + ".amperes_per_volt"
	if !c.inputUsable(field, scale, field+".zero_v", field+".kind") {
		return
	}
	reach := (v.TopV() - v.ZeroV) * v.AmperesPerVolt
	if v.AmperesPerVolt < 0 {
		bottom := 0.0 // a single-ended input cannot measure below ground
		if v.Kind == "shunt" {
			bottom = -v.TopV()
		}
		reach = (bottom - v.ZeroV) * v.AmperesPerVolt
	}
	if need := c.pack.CapacityAh / 4; reach < need {
		c.reject(scale, say("must-be-larger-the-input-ends-at", reach, plain(c.pack.CapacityAh), need))
	}
}

func (c wiringCheck) minus(field string, v *wiring.Current) {
	switch {
	case c.bad[field]:
	case v.Kind == "hall" && v.Minus != nil:
		c.reject(field, say("must-be-left-out-for-a-hall"))
	case v.Kind == "shunt":
		c.pair(field, v)
	}
}

var oneWire = regexp.MustCompile(`^(10|22|28|3b|42)-[0-9a-f]{12}$`)

var oneWireRule = say("must-be-a-1-wire-number-in")

// temperature leaves it to recognition to check whether the pack's sensor must be
// named.
func (c wiringCheck) temperature(field string, t *wiring.Temperature) {
	if c.present(field+".pack") && !oneWire.MatchString(t.Pack) {
		c.reject(field+".pack", oneWireRule)
	}
	if c.present(field+".ambient") && !oneWire.MatchString(t.Ambient) {
		c.reject(field+".ambient", oneWireRule)
	}
	c.fields(field, t)
	c.rtds(field, t)
}

// hydrogen requires a range that includes the highest limit that can be set, 2 %.
func (c wiringCheck) hydrogen(field string, a *wiring.Analog) {
	c.fields(field, a)
	c.input(field, &a.Input, false)
	reach := (a.TopV() - a.ZeroV) * a.PerVolt
	if c.inputUsable(field, field+".per_volt", field+".zero_v") && reach < 2.2 {
		c.reject(field+".per_volt", say("must-be-larger-the-input-ends-at-2", reach))
	}
}
