package web

import (
	"math"
	"slices"

	"bayward/agent/bay"
	"bayward/agent/water"
)

const (
	// goodUSPerCM and worstUSPerCM are the limits of water for filling, µS/cm:
	// fresh and in use, DIN 43530-4 (from memory).
	goodUSPerCM, worstUSPerCM = 10, 30
	// usPerPPM turns dissolved solids in mg/l into µS/cm: common practice, no
	// source.
	usPerPPM = 2
	// nearMM is the distance to the bottom of the vent well at which a person is warned:
	// the width of a level rod's mark and a wave. The project's own.
	nearMM = 3
)

// plan is what an open visit proposes for one cell.
type plan struct {
	LevelKnown bool
	LevelMM    float64 // as a level rod would show it now
	ByRod      bool    // read with the rule, else estimated
	AddKnown   bool
	AddML      float64 // whole millilitres, never past the ceiling
	NeverMM    float64 // as a level rod would show it now: never above
	NeverKnown bool
	RoomML     float64 // to the bottom of the vent well; valid with LevelKnown
	Near       bool    // the bottom of the vent well is near
	NoTempC    bool    // nothing is proposed since the temperature is not known
	Doubt      bool    // the level reading wants a second one
	Impure     bool    // nothing is proposed since the water is too impure
}

// planOf works out one cell, 0 being the positive end.
func planOf(p *bay.Picture, i int) plan {
	var n plan
	w, c := &p.Water, &p.Visit.Cells[i]
	settledMM, known := settledOf(p, i)
	n.NoTempC = !w.RiseKnown
	if n.NeverKnown = w.RiseKnown; n.NeverKnown {
		n.NeverMM = w.CeilingMM + w.RiseMM
	}
	n.ByRod = c.LevelRead && c.LevelLast
	switch {
	case n.ByRod:
		n.LevelKnown, n.LevelMM = true, c.LevelMM
	case known:
		n.LevelKnown, n.LevelMM = true, settledMM+w.RiseMM
	}
	if n.LevelKnown {
		n.RoomML = roomML(p.Pack, n.LevelMM)
		n.Near = p.Pack.VentWellMM-n.LevelMM < nearMM || n.NeverKnown && n.LevelMM >= n.NeverMM
	}
	n.Impure = p.Visit.QualityKnown && p.Visit.USPerCM > worstUSPerCM
	if n.AddKnown = known && !n.Impure; n.AddKnown {
		n.AddML = addML(p, i, settledMM)
	}
	n.Doubt = n.ByRod && slices.Contains(w.DoubtedCells(), i+1)
	return n
}

// settledOf is a cell's level at 25 °C without gas, by the core's estimate or,
// when the probe gives none, by the level rod.
func settledOf(p *bay.Picture, i int) (mm float64, known bool) {
	w, c := &p.Water, &p.Visit.Cells[i]
	switch {
	case !w.RiseKnown:
		return 0, false
	case w.Known && i < w.Cells:
		return w.LevelMM[i], true
	case c.LevelRead && c.LevelLast:
		return c.LevelMM - w.RiseMM, true
	}
	return 0, false
}

// roomML is the water that reaches the bottom of the vent well. Between bare plates only a
// part of the section is liquid: about a third is the least (from memory).
func roomML(p *bay.Pack, levelMM float64) float64 {
	const leastFree = 0.3
	return (max(p.VentWellMM-max(levelMM, 0), 0) - leastFree*min(levelMM, 0)) * p.FreeSurfaceCM2 / 10
}

// addML is what the core says, or the same worked out for a cell of which only
// the level rod knows.
func addML(p *bay.Picture, i int, settledMM float64) float64 {
	need, fill := p.Water.NeedML[i], p.Water.CoverPlatesML[i]
	if !p.Water.Known {
		c := water.Config{
			ChargeLevelMM: p.Pack.ChargeLevelMM, FillMarkMM: p.Pack.FillMarkMM, FreeSurfaceCM2: p.Pack.FreeSurfaceCM2,
		}
		need, fill = c.CellNeed(settledMM, p.Water.RiseMM, p.Water.CeilingMM)
	}
	if p.Visit.OnlyCoverPlates {
		need = fill
	}
	return math.Floor(need + 1e-9) // 130 ml less a rounding error are 130 ml
}
