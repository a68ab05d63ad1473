package web

import (
	"fmt"
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

type cellText struct {
	Number int
	Text   string
}

// newWater is nil when nobody should think of water: the pack is not ready for
// it and its plates are covered.
func newWater(p *bay.Picture, u units) *waterText {
	perCell, title := proposal(p)
	if perCell == nil {
		return nil
	}
	total := 0.0
	w := &waterText{}
	for i, ml := range perCell {
		total += ml
		w.Cells = append(w.Cells, cellText{i + 1, u.volume(ml)})
	}
	w.Title = title + ": " + u.volume(total) + " in all"
	w.Each = w.Cells[0].Text
	for _, c := range w.Cells {
		if c.Text != w.Each {
			w.Each = ""
			break
		}
	}
	return w
}

// proposal is the water for each cell, in millilitres, or nil.
func proposal(p *bay.Picture) (perCell []float64, title string) {
	if !p.Water.Known || p.Water.Cells < 1 {
		return nil, ""
	}
	cells := p.Water.Cells
	switch {
	case p.Visit.Open && p.Visit.CoverFill, !p.Visit.Open && p.Findings[interlock.PlatesBare].Raised:
		return p.Water.FillML[:cells], "Water that covers the plates, no more"
	case p.Visit.Open, p.Stage == bay.ReadyToWater:
		return p.Water.NeedML[:cells], "Water up to the target"
	}
	return nil, ""
}

// visitText is an open visit with a line to fill in for each cell.
type visitText struct {
	Title, By, For string
	Cells          []visitCell
}

type visitCell struct {
	Number   int
	Given    string // millilitres recorded so far, "" for none
	Proposed string // what the line starts with
}

// newVisit proposes the need of each cell until something is recorded: then a
// second click must not record it again.
func newVisit(p *bay.Picture) *visitText {
	v := &visitText{Title: "Water given", By: p.Visit.By, For: span(p.Now - p.Visit.Since)}
	if p.Visit.CoverFill {
		v.Title = "Water given to cover the plates"
	}
	perCell, _ := proposal(p)
	for i, ml := range p.Visit.GivenML[:p.Pack.Cells] {
		c := visitCell{Number: i + 1}
		if ml > 0 {
			c.Given = fmt.Sprintf("%.0f", ml)
		} else if i < len(perCell) && perCell[i] >= 1 {
			c.Proposed = fmt.Sprintf("%.0f", math.Floor(perCell[i]))
		}
		v.Cells = append(v.Cells, c)
	}
	return v
}
