package config

import (
	"fmt"
	"math"
	"slices"

	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

// levelCheck checks the level probe by the requirements of its kind.
type levelCheck wiringCheck

func (c levelCheck) level(field string, w *wiring.Parts) {
	l := w.Level
	c.fields(field, l)
	wiringCheck(c).input(field, &l.Input, false)
	if c.bad[field+".kind"] {
		return
	}
	c.settings(field, l)
	c.pulses(field, l)
	c.fast(field, w)
	good := c.rods(field+".rods", l)
	c.relations(field, l, good)
	switch {
	case l.Kind.Measures():
		c.reach(field, l)
	case good:
		c.topRod(field, l)
	}
	if at := field + ".cells_below"; l.Kind.Takes("cells_below") && c.usable(at) {
		switch {
		case l.CellsBelow != math.Trunc(l.CellsBelow):
			c.reject(at, say("must-be-a-whole-number"))
		case l.CellsBelow >= float64(c.pack.Cells):
			c.reject(at, say("must-be-below-the-cells-of-pack", c.pack.Cells, c.pack.Name))
		case c.pack.ProbeCell > 0 && int(l.CellsBelow) != c.pack.Cells-c.pack.ProbeCell:
			c.reject(at, say("must-be-probe-cell-of-pack-is", c.pack.Cells-c.pack.ProbeCell, c.pack.Name, c.pack.ProbeCell, c.pack.Cells))
		}
	}
}

// settings checks the keys of a probe against those that its kind accepts.
func (c levelCheck) settings(field string, l *wiring.Level) {
	for _, key := range level.SettingKeys() {
		if c.present(field+"."+key) && !l.Kind.Takes(key) {
			c.reject(field+"."+key, say("does-not-belong-to-a-level-probe", string(l.Kind)))
		}
	}
	for _, key := range l.Kind.Keys() {
		if at := field + "." + key.Name; !key.Optional || c.present(at) {
			c.number(at, *key.Of(&l.Settings), ranged(key.Low, key.High, key.Unit))
		}
	}
}

// fastestPulsedMS is the least fast_ms of a probe with test pulses: three readings of
// 30 ms, and no current for most of the time.
const fastestPulsedMS = 200

// pulseRate is the rate at which the answers to test pulses are read, samples a second.
const pulseRate = 860

// pulses checks what a probe with test pulses needs: an expander, and for one in two
// wires a converter of its own, whose inputs are fixed.
func (c levelCheck) pulses(field string, l *wiring.Level) {
	expander, fast, rate := field+".expander", field+".fast_ms", field+".rate"
	if l.Kind.Pulses() == level.NoPulses {
		if c.present(expander) {
			c.reject(expander, say("does-not-belong-to-a-level-probe", string(l.Kind)))
		}
		return
	}
	rule := say("must-be-0x20-to-0x27-or-0x38")
	if !c.missing(expander, rule) && !c.bad[expander] && l.Expander&^7 != 0x20 && l.Expander&^7 != 0x38 {
		c.reject(expander, rule)
	}
	if f, ok := l.Family(); ok && (!slices.Contains(f.Rates, pulseRate) || !slices.Contains(f.Pairs, [2]int{0, 1}) || !slices.Contains(f.Pairs, [2]int{1, 3})) {
		c.reject(field+".converter", say("must-be-ads1115-for-a-probe-with"))
	}
	if l.Kind.Pulses() == level.BothPulses && l.Channel != 0 && !c.bad[field+".channel"] {
		c.reject(field+".channel", say("must-be-0-the-probe-takes-inputs"))
	}
	if c.present(rate) {
		c.reject(rate, say("does-not-belong-to-a-probe-with"))
	}
	if c.present(fast) && !c.bad[fast] && l.FastMS < fastestPulsedMS {
		c.reject(fast, say("must-be-to-1000-ms-for-a", fastestPulsedMS))
	}
}

// fastReadings is how many readings must show bare plates before the relay opens between
// two ticks.
const fastReadings = 3

// fast requires a converter that gives that many readings within fast_ms, while the ticks
// read its other inputs.
func (c levelCheck) fast(field string, w *wiring.Parts) {
	l, at := w.Level, field+".fast_ms"
	if !c.present(at) || l.Kind.Pulses() != level.NoPulses || !c.usable(at) || !c.inputUsable(field, field+".rate") {
		return
	}
	need := fastReadings * l.Longest()
	for _, in := range w.Inputs() {
		if in != &l.Input && in.Place(w.I2C) == l.Place(w.I2C) {
			need += in.Longest()
		}
	}
	if ms := math.Ceil(need.Seconds() * 1000); l.FastMS < ms {
		c.reject(at, say("must-be-ms-or-more-so-long", plain(ms), l.Rate))
	}
}

// relations checks the keys against each other, where each is valid by itself.
func (c levelCheck) relations(field string, l *wiring.Level, rodsGood bool) {
	for _, r := range l.Kind.Relations() {
		at := field + "." + r.Key
		fit := c.inputUsable(field, at) && (r.Key != level.RodsKey || rodsGood)
		for _, key := range r.Needs {
			fit = fit && c.usable(field+"."+key)
		}
		if !fit {
			continue
		}
		if unfit := r.Broken(&l.Settings, l.TopV()); unfit != nil {
			c.reject(at, say("level."+unfit.Code, unfit.Values...))
		}
	}
}

// reach requires that the range of a measuring probe includes bare plates and a
// filled cell.
func (c levelCheck) reach(field string, l *wiring.Level) {
	p := c.pack
	low, high := field+".low_mm", field+".high_mm"
	if !c.usable(low, high, field+".offset_mm") {
		return
	}
	if l.LowMM+l.OffsetMM > 0 {
		c.reject(low, say("must-be-at-most-0-with-offset", plain(l.OffsetMM)))
	}
	if l.HighMM+l.OffsetMM < p.FillMarkMM {
		c.reject(high, say("must-reach-fill-mark-mm-of-pack", plain(p.FillMarkMM), p.Name))
	}
}

// rods checks each rod by itself and reports whether all are valid.
func (c levelCheck) rods(field string, l *wiring.Level) bool {
	count := l.Kind.Rods()
	switch {
	case count.Most == 0 || c.bad[field]:
		return false
	case len(l.Rods) < count.Least || len(l.Rods) > count.Most:
		c.texts[field] = fmt.Sprintf("(%d)", len(l.Rods))
		c.reject(field, say("level."+count.Code))
		return false
	}
	before := len(c.problems)
	for i := range l.Rods {
		rod := fmt.Sprintf("%s[%d]", field, i)
		if c.faulty(rod) {
			return false
		}
		for _, key := range level.RodKeys {
			c.number(rod+"."+key.Name, *key.Of(&l.Rods[i]), ranged(key.Low, key.High, key.Unit))
		}
		if at := rod + ".height_mm"; i > 0 && c.usable(at) && l.Rods[i].HeightMM <= l.Rods[i-1].HeightMM {
			c.reject(at, say("must-be-above-the-rod-before-it", plain(l.Rods[i-1].HeightMM)))
		}
	}
	return len(c.problems) == before
}

// topRod requires a rod at the lowest level for charging. A rod proves no more than
// its own height, so without that rod the finding of bare plates could never clear.
func (c levelCheck) topRod(field string, l *wiring.Level) {
	p := c.pack
	if c.bad[field+".offset_mm"] {
		return
	}
	last := len(l.Rods) - 1
	top := fmt.Sprintf("%s.rods[%d].height_mm", field, last)
	height := l.Rods[last].HeightMM + l.OffsetMM
	switch {
	case height < p.ChargeLevelMM:
		c.reject(top, say("must-be-at-or-above-charge-level", plain(p.ChargeLevelMM), p.Name))
	case height > p.VentWellMM:
		c.reject(top, say("must-be-at-most-vent-well-mm", plain(p.VentWellMM), p.Name))
	}
}
