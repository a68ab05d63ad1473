package words

import (
	"math"

	"bayward/agent/charge"
	"bayward/agent/reading"
)

// Gravity describes what the hydrometer reading of a cell means, "" for a cell that
// was not read.
func (v Voice) Gravity(r *charge.GravityRound, cell int) string {
	if r == nil || cell < 1 || cell > min(r.Of, len(r.Cells)) {
		return ""
	}
	c := &r.Cells[cell-1]
	if c.Verdict == charge.NotRead || c.Verdict >= charge.NumGravityVerdicts {
		return ""
	}
	key := "gravity.verdict." + c.Verdict.String()
	text := v.Say("gravity.cell", cell, v.sg(c.SG25)) + " "
	switch c.Verdict {
	case charge.GravityTemperature:
		return text + v.Say(key, v.Temperature(c.AtC), v.Temperature(c.PackC))
	case charge.GravityFull, charge.GravityBelow, charge.GravityAbove:
		return text + v.Say(key, v.sg(c.AtMark), v.sg(math.Abs(c.OverFull)))
	case charge.GravityCellHigh, charge.GravityCellLow, charge.GravityCellWeak, charge.GravityCellFailed:
		return text + v.Say(key, v.sg(math.Abs(c.OverOthers)))
	default:
		return text + v.Say(key)
	}
}

// GravityRound states how many cells of a round count, what for, and their spread;
// "" without a round.
func (v Voice) GravityRound(r *charge.GravityRound) string {
	if r == nil {
		return ""
	}
	text := v.Say("gravity.round", r.Sound, r.Of, r.SpreadNeeds())
	switch {
	case r.Sound < 2:
		return text
	case !r.Full:
		return text + " " + v.Say("gravity.round.not-full", v.sg(r.High-r.Low))
	}
	return text + " " + v.Say("gravity.round.spread", v.sg(r.High-r.Low))
}

// sg formats a specific gravity, or a difference of two.
func (v Voice) sg(x float64) string { return v.words.point(reading.Digits(x, 3)) }
