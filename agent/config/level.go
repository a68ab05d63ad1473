package config

import (
	"fmt"
	"math"
	"time"
)

// BareWithin is FastMS as a duration.
func (l *Level) BareWithin() time.Duration {
	return time.Duration(l.FastMS * float64(time.Millisecond))
}

func (c *checker) level(field string, l *Level, p *Pack) {
	c.word(field+".kind", &l.Kind, "", "rod", "ladder", "4-20ma")
	c.input(field, &l.Input, 4.096)
	if c.present(field + ".offset_mm") {
		c.number(field+".offset_mm", l.OffsetMM, -50, 50, "mm")
	}
	if c.present(field + ".fast_ms") {
		c.number(field+".fast_ms", l.FastMS, 20, 1000, "ms")
	}
	if c.bad[field+".kind"] {
		return
	}
	if l.Kind == "4-20ma" {
		c.stray(field, l.Kind, "excitation_v", "pull_ohm", "end_ohm", "rods")
		c.transmitter(field, l, p)
		return
	}
	c.stray(field, l.Kind, "shunt_ohm", "low_mm", "high_mm")
	c.loop(field, l)
	c.rods(field, l, p)
}

// stray finds keys that another kind of probe has.
func (c *checker) stray(field, kind string, keys ...string) {
	for _, key := range keys {
		if c.present(field + "." + key) {
			c.reject(field+"."+key, "does not belong to a level probe of kind "+kind)
		}
	}
}

// transmitter: NAMUR NE 43 gives 3.8 to 20.5 mA to measured values and 21 mA
// and more to faults. The input must reach 21 mA to tell them apart.
func (c *checker) transmitter(field string, l *Level, p *Pack) {
	shunt, low, high := field+".shunt_ohm", field+".low_mm", field+".high_mm"
	c.number(shunt, l.ShuntOhm, 1, 1000, "ohm")
	if top := l.topV() / 0.021; c.usable(shunt, field+".range_v") && l.ShuntOhm > top {
		c.reject(shunt, fmt.Sprintf("must be at most %.0f ohm, so that the input reaches the 21 mA of a fault", math.Floor(top)))
	}
	c.number(low, l.LowMM, -300, 0, "mm at 4 mA; bare plates must be seen")
	c.number(high, l.HighMM, 1, 500, "mm at 20 mA")
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

func (c *checker) loop(field string, l *Level) {
	feed := field + ".excitation_v"
	c.number(feed, l.ExcitationV, 0.5, 5.5, "V")
	c.number(field+".pull_ohm", l.PullOhm, 100, 1e6, "ohm")
	c.number(field+".end_ohm", l.EndOhm, 100, 1e7, "ohm")
	if c.usable(feed, field+".range_v") && l.ExcitationV > l.topV() {
		c.reject(feed, fmt.Sprintf("must be at most the input's %s V, so that an open loop can be told from an input at its end", plain(l.topV())))
	}
}

func (c *checker) rods(field string, l *Level, p *Pack) {
	rods := field + ".rods"
	least, most, rule := 1, 1, "must be one rod; several make a ladder"
	if l.Kind == "ladder" {
		least, most, rule = 2, 4, "must be two to four rods"
	}
	if len(l.Rods) < least || len(l.Rods) > most {
		c.texts[rods] = fmt.Sprintf("(%d rods)", len(l.Rods))
		c.reject(rods, rule)
		return
	}
	if c.bad[rods] || !c.rodValues(rods, l.Rods) || c.bad[field+".offset_mm"] {
		return
	}
	c.rodHeights(rods, l, p)
	c.loopStates(rods, field, l)
}

// rodValues reports whether all rods are good by themselves.
func (c *checker) rodValues(field string, rods []Rod) bool {
	before := len(c.problems)
	for i, r := range rods {
		rod := fmt.Sprintf("%s[%d]", field, i)
		if c.faulty(rod) {
			return false
		}
		c.number(rod+".height_mm", r.HeightMM, -100, 300, "mm above the plate tops")
		c.number(rod+".series_ohm", r.SeriesOhm, 10, 1e6, "ohm")
		if i > 0 && c.usable(rod+".height_mm") && r.HeightMM <= rods[i-1].HeightMM {
			c.reject(rod+".height_mm", fmt.Sprintf("must be above the rod before it (%s): lowest first", plain(rods[i-1].HeightMM)))
		}
	}
	return len(c.problems) == before
}

// rodHeights: a rod proves no more than its own height, so without one at the
// lowest level for charging bare plates could never be cleared.
func (c *checker) rodHeights(field string, l *Level, p *Pack) {
	last := len(l.Rods) - 1
	top := fmt.Sprintf("%s[%d].height_mm", field, last)
	height := l.Rods[last].HeightMM + l.OffsetMM
	switch {
	case height < p.ChargeLevelMM:
		c.reject(top, fmt.Sprintf("must be at or above charge_level_mm (%s) of pack %s with offset_mm added, or a charge could never be granted",
			plain(p.ChargeLevelMM), p.Name))
	case height > p.VentWellMM:
		c.reject(top, fmt.Sprintf("must be at most vent_well_mm (%s) of pack %s with offset_mm added", plain(p.VentWellMM), p.Name))
	}
}
