package web

import (
	"cmp"
	"math"
	"slices"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/water"
	"bayward/agent/words"
)

const (
	// goodUSPerCM and worstUSPerCM are the limits for topping-up water in µS/cm,
	// fresh and in use: DIN 43530-4 (from memory).
	goodUSPerCM, worstUSPerCM = 10, 30
	// usPerPPM converts dissolved solids in mg/l to µS/cm (common practice, no
	// source).
	usPerPPM = 2
	// nearMM is the distance from the bottom of the vent well at which the page
	// warns: the width of a level rod's mark plus a wave. The project's own.
	nearMM = 3
)

// plan is what an open visit shows and proposes for one cell.
type plan struct {
	voice      words.Voice
	Number     int     // 1 is the positive end
	Done       bool    // its water is settled
	Bare       bool    // its plates are dry by the record
	GivenML    float64 // in this visit so far
	Cell       bay.CellVisit
	LevelKnown bool
	LevelMM    float64 // as a level rod would show it now
	ByRod      bool    // read with the rod, otherwise estimated
	AddKnown   bool
	AddML      float64 // whole millilitres, never beyond the ceiling
	NeverMM    float64 // as a level rod would show it now: never fill above
	NeverKnown bool
	RoomML     float64 // to the bottom of the vent well; valid with LevelKnown
	Near       bool    // the bottom of the vent well is near
	NoTempC    bool    // no proposal because the temperature is unknown
	Doubt      bool    // the level reading needs a second one
	Impure     bool    // no proposal because the water is too impure
}

// planOf returns the plan of one cell; 0 is the positive end.
func planOf(p *bay.Picture, v words.Voice, i int) plan {
	n := plan{voice: v, Number: i + 1, Done: p.Visit.Cells[i].Done, Bare: p.Visit.Cells[i].Dry, GivenML: p.Visit.GivenML[i], Cell: p.Visit.Cells[i]}
	w, c := &p.Water, &p.Visit.Cells[i]
	settledMM, known := settledOf(p, i)
	n.NoTempC = !w.RiseKnown
	if n.NeverKnown = w.RiseKnown; n.NeverKnown {
		n.NeverMM = w.CeilingMM + w.RiseMM
	}
	if n.LevelMM, n.ByRod = c.ByRod(); n.ByRod {
		n.LevelKnown = true
	} else if known {
		n.LevelKnown, n.LevelMM = true, settledMM+w.RiseMM
	}
	if n.LevelKnown {
		n.RoomML = waterOf(p.Pack).RoomML(n.LevelMM, p.Pack.VentWellMM)
		n.Near = p.Pack.VentWellMM-n.LevelMM < nearMM || n.NeverKnown && n.LevelMM >= n.NeverMM
	}
	n.Impure = p.Visit.QualityKnown && p.Visit.USPerCM > worstUSPerCM
	if n.AddKnown = known && !n.Impure; n.AddKnown {
		n.AddML = addML(p, i, settledMM)
	}
	n.Doubt = n.ByRod && slices.Contains(w.DoubtedCells(), i+1)
	return n
}

// bareCells lists the cells whose plates are dry by the record.
func bareCells(p *bay.Picture) (all []int) {
	for i := range p.Pack.Cells {
		if p.Visit.Cells[i].Dry {
			all = append(all, i+1)
		}
	}
	return all
}

// settledOf returns a cell's level at 25 °C without gas: the core's estimate or,
// without a probe reading, the level rod's.
func settledOf(p *bay.Picture, i int) (mm float64, known bool) {
	w := &p.Water
	switch {
	case !w.RiseKnown:
		return 0, false
	case w.Known && i < w.Cells:
		return w.LevelMM[i], true
	}
	mm, known = p.Visit.Cells[i].ByRod()
	return mm - w.RiseMM, known
}

// waterOf returns the pack's values for the water balance, as far as one cell needs
// them.
func waterOf(p *bay.Pack) *water.Config {
	return &water.Config{ChargeLevelMM: p.ChargeLevelMM, FillMarkMM: p.FillMarkMM, FreeSurfaceCM2: p.FreeSurfaceCM2}
}

// addML returns the core's amount, or the same calculation for a cell whose level
// only the level rod gives.
func addML(p *bay.Picture, i int, settledMM float64) float64 {
	need, fill := p.Water.NeedML[i], p.Water.CoverPlatesML[i]
	if !p.Water.Known {
		need, fill = waterOf(p.Pack).CellNeed(settledMM, p.Water.RiseMM, p.Water.CeilingMM)
	}
	if p.Visit.OnlyCoverPlates {
		need = fill
	}
	return math.Floor(need + 1e-9) // allows for rounding: 130 ml stay 130 ml
}

// Name returns the name of the cell. Like the texts below it is in the reader's
// language and units, and "" if unknown.
func (n plan) Name() string { return n.voice.Say("water.cell", n.Number) }

// Level returns the level now, measured or estimated.
func (n plan) Level() string { return when(n.LevelKnown, n.voice.Height(n.LevelMM)) }

// Add returns the proposed water.
func (n plan) Add() string { return when(n.AddKnown, n.voice.Volume(n.AddML)) }

// Settled reports whether nothing is left to look at in the cell.
func (n plan) Settled() bool { return n.Done && !n.Bare && !n.Near && !n.Doubt }

// Given returns the recorded water.
func (n plan) Given() string { return when(n.GivenML > 0, n.voice.Volume(n.GivenML)) }

// Record lists what was recorded at the cell in this visit.
func (n plan) Record() (all []string) {
	v, c := n.voice, &n.Cell
	if c.WasDry && !n.Bare {
		all = append(all, v.Say("cell.was.dry"))
	}
	if c.BeforeMM != nil && (n.GivenML > 0 || c.DrawnML > 0) {
		all = append(all, v.Say("cell.was.before", v.Height(*c.BeforeMM)))
	}
	if n.GivenML > 0 {
		all = append(all, v.Say("cell.was.given", v.Volume(n.GivenML), v.Say("how."+string(cmp.Or(c.How, order.Measured)))))
	}
	if c.DrawnML > 0 {
		all = append(all, v.Say("cell.was.drawn", v.Volume(c.DrawnML)))
	}
	if mm, ok := c.ByRod(); ok && (n.GivenML > 0 || c.DrawnML > 0) {
		all = append(all, v.Say("cell.was.after", v.Height(mm)))
	}
	return all
}

// Noted returns who recorded it.
func (n plan) Noted() string { return n.Cell.By }

// Now describes the level.
func (n plan) Now() string {
	switch {
	case n.Bare:
		return n.voice.Say("cell.now.dry")
	case !n.LevelKnown:
		return n.voice.Say("cell.now.unknown")
	case n.ByRod:
		return n.voice.Say("cell.now.rod", n.Level())
	}
	return n.voice.Say("cell.now.estimated", n.Level())
}

// Advice returns how much to add, or why nothing is proposed.
func (n plan) Advice() string {
	switch {
	case n.Impure:
		return n.voice.Say("quality.refuse", float64(worstUSPerCM))
	case n.NoTempC:
		return n.voice.Say("cell.add.hot")
	case !n.AddKnown:
		return n.voice.Say("cell.add.unknown")
	case n.AddML < 1:
		return n.voice.Say("cell.add.none")
	}
	return n.voice.Say("cell.add", n.Add())
}

// Adds reports whether there is water to add.
func (n plan) Adds() bool { return n.AddKnown && n.AddML >= 1 }
