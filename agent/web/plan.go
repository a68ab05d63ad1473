package web

import (
	"cmp"
	"slices"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/order"
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
	// levelSlackMM is how far below the lowest level for charging an estimate may be
	// for a cell that was read at it. The project's own.
	levelSlackMM = 0.5
)

// plan is what an open visit shows and proposes for one cell.
type plan struct {
	bay.CellNow
	voice   words.Voice
	Number  int     // 1 is the positive end
	Done    bool    // its water is settled
	GivenML float64 // in this visit so far
	Cell    bay.CellVisit
	Near    bool // at its highest level for a charge, or near the bottom of the vent well
	Over    bool // above its highest level for a charge
	NoTempC bool // no proposal because the temperature is unknown
	Doubt   bool // the level reading needs a second one
	Impure  bool // no proposal because the water is too impure
	Read    bool // its level must be read before any water
	// ReadAfter means that its level must be read with its water.
	ReadAfter bool
}

// planOf returns the plan of one cell; 0 is the positive end.
func planOf(p *bay.Picture, v words.Voice, i int) plan {
	n := plan{voice: v, Number: i + 1, CellNow: p.Cell(i + 1), Cell: p.Visit.Cells[i], GivenML: p.Visit.GivenML[i]}
	n.Done, n.NoTempC = n.Cell.Done, !p.Water.RiseKnown
	n.Near = n.LevelKnown && (p.Pack.VentWellMM-n.LevelMM < nearMM || n.LevelMM >= n.CeilingMM)
	n.Over = n.LevelKnown && n.LevelMM > n.CeilingMM
	n.Impure = p.Visit.QualityKnown && p.Visit.USPerCM > worstUSPerCM
	n.Read, n.ReadAfter = slices.Contains(p.ReadFirst(), i+1), slices.Contains(p.ReadAfter(), i+1)
	n.AddKnown = n.AddKnown && !n.Impure
	n.Doubt = n.ByRod && slices.Contains(p.Water.DoubtedCells(), i+1)
	return n
}

// bareCells lists the cells that are still bare: by the record and, while bare plates
// block the charge outside of a visit, by their estimated level.
func bareCells(p *bay.Picture) (all []int) {
	for n := 1; n <= p.Pack.Cells; n++ {
		c := p.Cell(n)
		low := !p.Visit.Open && p.Findings[interlock.PlatesBare].Raised && c.LevelKnown && c.LevelMM < p.Pack.ChargeLevelMM-levelSlackMM
		if c.Bare || low {
			all = append(all, n)
		}
	}
	return all
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
	case n.Bare && n.Cell.Dry:
		return n.voice.Say("cell.now.dry")
	case n.Bare && !n.ByRod:
		return n.voice.Say("cell.now.bare")
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
	case n.LookAgain:
		return n.voice.Say("cell.add.look")
	case !n.AddKnown:
		return n.voice.Say("cell.add.unknown")
	case n.AddML < 1:
		return n.voice.Say("cell.add.none")
	case n.Bare:
		return n.voice.Say("cell.add.first", n.Add())
	}
	return n.voice.Say("cell.add", n.Add())
}

// Adds reports whether there is water to add.
func (n plan) Adds() bool { return n.AddKnown && n.AddML >= 1 }
