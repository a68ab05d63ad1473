package web

import (
	"math"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// waterText is how much each cell takes.
type waterText struct {
	Title string
	Each  string // set when all cells take the same
	Cells []cellText
}

type cellText struct{ Name, Text string }

// newWater is nil when nobody should think of water: the pack is not ready for
// it and its plates are covered.
func newWater(p *bay.Picture, v view) *waterText {
	perCell, key := proposal(p)
	if perCell == nil {
		return nil
	}
	total, same := 0.0, true
	w := &waterText{}
	for i, ml := range perCell {
		ml = math.Floor(ml)
		total += ml
		same = same && ml == math.Floor(perCell[0])
		w.Cells = append(w.Cells, cellText{v.say("water.cell", i+1), v.volume(ml)})
	}
	w.Title = v.say(key, v.volume(total))
	if same {
		w.Each = v.say("water.each", len(perCell), w.Cells[0].Text)
	}
	return w
}

// proposal is the water for each cell, in millilitres, or nil.
func proposal(p *bay.Picture) (perCell []float64, key string) {
	if !p.Water.Known || p.Water.Cells < 1 {
		return nil, ""
	}
	cells := p.Water.Cells
	switch {
	case p.Visit.Open && p.Visit.OnlyCoverPlates, !p.Visit.Open && p.Findings[interlock.PlatesBare].Raised:
		return p.Water.CoverPlatesML[:cells], "water.plates"
	case p.Visit.Open, p.Stage == bay.ReadyToWater:
		return p.Water.NeedML[:cells], "water.mark"
	}
	return nil, ""
}
