package config

import (
	"fmt"
	"regexp"
	"slices"

	"bayward/sensors/wiring"
)

// part is one part of a bay's wiring.
type part struct {
	key    string
	needed bool // required in every bay
	there  func(*wiring.Parts) bool
	check  func(c wiringCheck, at string, w *wiring.Parts)
	uses   func(w *wiring.Parts) []use
}

// parts has a row for each part.
var parts = []part{
	{
		"voltage", true, func(w *wiring.Parts) bool { return w.Voltage != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.voltage(at, w.Voltage) },
		func(w *wiring.Parts) []use { return []use{channel(w, w.Voltage.Input, "channel", "")} },
	},
	{
		"current", false, func(w *wiring.Parts) bool { return w.Current != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.current(at, w.Current) },
		func(w *wiring.Parts) []use {
			in, all := w.Current.Input, []use{channel(w, w.Current.Input, "channel", "")}
			if minus := w.Current.Minus; minus != nil && *minus != in.Channel {
				in.Channel = *minus
				all = append(all, channel(w, in, "minus", ""))
			}
			return all
		},
	},
	{
		"temperature", true, func(w *wiring.Parts) bool { return w.Temperature != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.temperature(at, w.Temperature) },
		func(w *wiring.Parts) []use {
			return []use{{"ambient", "1-wire sensor", w.Temperature.Ambient, roomAir}}
		},
	},
	{
		"level", true, func(w *wiring.Parts) bool { return w.Level != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { levelCheck(c).level(at, w.Level) },
		func(w *wiring.Parts) []use { return []use{channel(w, w.Level.Input, "channel", "")} },
	},
	{
		"hydrogen", false, func(w *wiring.Parts) bool { return w.Hydrogen != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.hydrogen(at, w.Hydrogen) },
		func(w *wiring.Parts) []use { return []use{channel(w, w.Hydrogen.Input, "channel", roomHydrogen)} },
	},
	{
		"relay", true, func(w *wiring.Parts) bool { return w.Relay != nil },
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
		"airflow", false, func(w *wiring.Parts) bool { return w.Airflow != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.airflow(at, w.Airflow) },
		func(w *wiring.Parts) []use { // a shared contact has one meaning
			return []use{{"pin", "line", w.Airflow.Pin, fmt.Sprintf("%s, active_low %v", roomFan, w.Airflow.ActiveLow)}}
		},
	},
	{
		"charger_complete", false, func(w *wiring.Parts) bool { return w.Complete != nil },
		func(c wiringCheck, at string, w *wiring.Parts) { c.contact(at, w.Complete) },
		func(w *wiring.Parts) []use { return []use{{"pin", "line", w.Complete.Pin, ""}} },
	},
}

// wiringCheck checks the wiring of a bay for one of its packs.
type wiringCheck struct {
	*checker
	pack      *Pack
	simulated bool
}

func (c wiringCheck) parts(field string, w *wiring.Parts) {
	c.bus(field+".i2c", w.I2C)
	for _, p := range parts {
		at := field + "." + p.key
		switch {
		case p.there(w) && !c.bad[at]:
			p.check(c, at, w)
		case p.needed && !p.there(w):
			c.missing(at, "without it nothing could ever be granted")
		}
	}
}

var (
	wiredBus     = regexp.MustCompile(`^(I2C|/dev/i2c-)?[0-9]{1,2}$`)
	simulatedBus = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,31}$`)
)

func (c wiringCheck) bus(field, v string) {
	form, rule := wiredBus, "must be the number of an I²C bus, such as 1"
	if c.simulated {
		form, rule = simulatedBus, "must be a word of letters, digits, hyphens and underscores"
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
	ratio, need := field+".ratio", float64(c.pack.Cells)*cellMaxV
	if reach := (v.TopV() - v.OffsetV) * v.Ratio; c.usable(ratio, field+".range_v", field+".offset_v") && reach <= need {
		c.reject(ratio, fmt.Sprintf("must be larger: with it the input ends at %.1f V, and %d cells can show %.1f V on charge", reach, c.pack.Cells, need))
	}
}

// shuntRangeV is the default input range of a shunt.
const shuntRangeV = 0.256

func (c wiringCheck) current(field string, v *wiring.Current) {
	c.fields(field, v)
	if v.Kind == "shunt" && !c.present(field+".range_v") {
		v.RangeV = shuntRangeV
	}
	c.minus(field+".minus", v)
	c.zero(field, v.ZeroV, -v.RangeV, v.RangeV)
	scale := field + ".amperes_per_volt"
	if c.missing(scale, "amperes for one volt at the input") {
		return
	}
	if v.AmperesPerVolt == 0 || v.AmperesPerVolt < -1e6 || v.AmperesPerVolt > 1e6 {
		c.reject(scale, "must be -1000000 to 1000000 and not 0; a negative one turns the direction")
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
	if !c.usable(scale, field+".range_v", field+".zero_v", field+".kind") {
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
		c.reject(scale, fmt.Sprintf("must be larger: the input ends at %.1f A of charge, and a pack of %s Ah may be given %.1f A", reach, plain(c.pack.CapacityAh), need))
	}
}

func (c wiringCheck) minus(field string, v *wiring.Current) {
	switch {
	case c.bad[field]:
	case v.Kind == "hall" && v.Minus != nil:
		c.reject(field, "must be left out for a Hall sensor, which is measured against ground")
	case v.Kind == "shunt" && v.Minus == nil:
		c.missing(field, "the channel of the other side of the shunt")
	case v.Kind == "shunt" && !slices.Contains([][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}}, [2]int{v.Channel, *v.Minus}):
		c.reject(field, "must make one of the pairs that an ADS1115 has: channel 0 with minus 1, 0 with 3, 1 with 3, 2 with 3")
	}
}

var oneWire = regexp.MustCompile(`^(10|22|28|3b|42)-[0-9a-f]{12}$`)

const oneWireRule = "must be a 1-wire number in lower case, such as 28-0316a2795bff"

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
}

// hydrogen requires a range that includes the highest limit that can be set, 2 %.
func (c wiringCheck) hydrogen(field string, a *wiring.Analog) {
	c.fields(field, a)
	reach := (a.TopV() - a.ZeroV) * a.PerVolt
	if c.usable(field+".per_volt", field+".zero_v", field+".range_v") && reach < 2.2 {
		c.reject(field+".per_volt", fmt.Sprintf("must be larger: the input ends at %.2f %%, and charging stops at 2 %%", reach))
	}
}
