package words

import (
	"math"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/water"
)

// WaterText is how much water each cell needs.
type WaterText struct {
	Title string
	Each  string // set when all cells need the same
	Cells []CellText
}

// CellText is the text for one cell.
type CellText struct{ Name, Text string }

// Water returns nil when watering is not due: the pack is not ready for it and
// its plates are covered.
func (v Voice) Water(p *bay.Picture) *WaterText {
	perCell, key := Proposal(p)
	if perCell == nil {
		return nil
	}
	total, same := 0.0, true
	w := &WaterText{}
	for i, ml := range perCell {
		ml = math.Floor(ml)
		total += ml
		same = same && ml == math.Floor(perCell[0])
		w.Cells = append(w.Cells, CellText{v.Say("water.cell", i+1), v.Volume(ml)})
	}
	w.Title = v.Say(key, v.Volume(total))
	if same {
		w.Each = v.Say("water.each", len(perCell), w.Cells[0].Text)
	}
	return w
}

// Proposal returns the water for each cell, in millilitres, or nil.
func Proposal(p *bay.Picture) (perCell []float64, key string) {
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

// Odd describes what an odd cell usually means and what to check.
//
// Sources: TM 10-6140-200-14 (causes of a low level: cracked jar, a cell missed
// when watering, a weak cell, frequent overcharge); TM 5-684/MO-200 (cells of
// higher gravity use more water); Scholl (period handbook: a thirsty cell leaks,
// the more so if its gravity falls); no water used at all: undercharge (from
// memory).
func (v Voice) Odd(o water.OddCell) string {
	if o.Ratio > 1 {
		return v.Say("odd.more", o.Cell, v.words.point(reading.Digits(o.Ratio, 1)))
	}
	return v.Say("odd.less", o.Cell, v.words.point(reading.Digits(o.Ratio, 2)))
}

// Unrecorded asks who watered when the level rose without a visit; "" when it did not.
func (v Voice) Unrecorded(p *bay.Picture) string {
	if !(p.Water.UnrecordedMM > 0) {
		return ""
	}
	return v.Say("water.unrecorded", v.Height(p.Water.UnrecordedMM))
}
