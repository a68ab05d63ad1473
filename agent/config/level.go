package config

import (
	"fmt"

	"bayward/sensors/level"
	"bayward/sensors/wiring"
)

// levelCheck checks the level probe by the requirements of its kind.
type levelCheck wiringCheck

func (c levelCheck) level(field string, l *wiring.Level) {
	c.fields(field, l)
	if c.bad[field+".kind"] {
		return
	}
	c.settings(field, l)
	good := c.rods(field+".rods", l)
	c.relations(field, l, good)
	switch {
	case l.Kind.Measures():
		c.reach(field, l)
	case good:
		c.topRod(field, l)
	}
}

// settings checks the keys of a probe against those that its kind accepts.
func (c levelCheck) settings(field string, l *wiring.Level) {
	for _, key := range level.SettingKeys() {
		if c.present(field+"."+key) && !l.Kind.Takes(key) {
			c.reject(field+"."+key, "does not belong to a level probe of kind "+string(l.Kind))
		}
	}
	for _, key := range l.Kind.Keys() {
		if at := field + "." + key.Name; !key.Optional || c.present(at) {
			c.number(at, *key.Of(&l.Settings), ranged(key.Low, key.High, key.Unit))
		}
	}
}

// relations checks the keys against each other, where each is valid by itself.
func (c levelCheck) relations(field string, l *wiring.Level, rodsGood bool) {
	for _, r := range l.Kind.Relations() {
		at := field + "." + r.Key
		fit := c.usable(at, field+".range_v") && (r.Key != level.RodsKey || rodsGood)
		for _, key := range r.Needs {
			fit = fit && c.usable(field+"."+key)
		}
		if !fit {
			continue
		}
		if rule := r.Broken(&l.Settings, l.TopV()); rule != "" {
			c.reject(at, rule)
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
		c.reject(low, fmt.Sprintf("must be at most 0 with offset_mm (%s) added: bare plates must be seen", plain(l.OffsetMM)))
	}
	if l.HighMM+l.OffsetMM < p.FillMarkMM {
		c.reject(high, fmt.Sprintf("must reach fill_mark_mm (%s) of pack %s with offset_mm added", plain(p.FillMarkMM), p.Name))
	}
}

// rods checks each rod by itself and reports whether all are valid.
func (c levelCheck) rods(field string, l *wiring.Level) bool {
	count := l.Kind.Rods()
	switch {
	case count.Most == 0 || c.bad[field]:
		return false
	case len(l.Rods) < count.Least || len(l.Rods) > count.Most:
		c.texts[field] = fmt.Sprintf("(%d rods)", len(l.Rods))
		c.reject(field, count.Rule)
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
			c.reject(at, fmt.Sprintf("must be above the rod before it (%s): lowest first", plain(l.Rods[i-1].HeightMM)))
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
		c.reject(top, fmt.Sprintf("must be at or above charge_level_mm (%s) of pack %s with offset_mm added, or a charge could never be granted",
			plain(p.ChargeLevelMM), p.Name))
	case height > p.VentWellMM:
		c.reject(top, fmt.Sprintf("must be at most vent_well_mm (%s) of pack %s with offset_mm added", plain(p.VentWellMM), p.Name))
	}
}
