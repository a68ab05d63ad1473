package bay

import (
	"math"

	"bayward/agent/water"
)

// CellNow is what is known of one cell, and what to do there in a visit. Levels are
// as a level rod shows them now.
type CellNow struct {
	LevelMM    float64 // read with the rod in this visit, otherwise estimated
	LevelKnown bool
	ByRod      bool
	Bare       bool    // by the record
	CeilingMM  float64 // never fill above; see water.Status.CeilingNowMM
	RoomML     float64 // to the ceiling; valid with LevelKnown
	AddML      float64 // proposed, in whole millilitres, never past the ceiling
	AddKnown   bool
	LookAgain  bool // nothing is proposed until the level is read: a bare cell was given a first step
}

// Cell returns what is known of a cell; 1 is the positive end.
func (p *Picture) Cell(number int) CellNow {
	w, c := &p.Water, &p.Visit.Cells[number-1]
	n := CellNow{Bare: w.Bare.Has(number) || c.Dry, CeilingMM: w.CeilingNowMM()}
	if n.LevelMM, n.ByRod = c.ByRod(); n.ByRod {
		n.LevelKnown = true
	} else if w.Known && w.RiseKnown && number <= w.Cells {
		n.LevelMM, n.LevelKnown = w.LevelMM[number-1]+w.RiseMM, true
	}
	if n.Bare && n.LevelKnown && !n.ByRod && c.Dry {
		n.LevelMM = min(n.LevelMM, 0)
	}
	if n.LevelKnown {
		n.RoomML = waterOf(p.Pack).RoomML(n.LevelMM, n.CeilingMM)
	}
	n.LookAgain = n.Bare && !c.LevelLast && !p.Visit.untouched(number)
	if n.AddKnown = n.LevelKnown && w.RiseKnown && !n.LookAgain; n.AddKnown {
		n.AddML = p.addML(number, &n)
	}
	return n
}

// rodHalfMM is how far the level may be below the whole millimetre that is read.
const rodHalfMM = 0.5

// addML returns the proposed water in whole millilitres: the core's amount, or the
// same calculation for a cell whose level only the rod gives.
func (p *Picture) addML(number int, n *CellNow) float64 {
	w := &p.Water
	need, cover := w.NeedML[number-1], w.CoverPlatesML[number-1]
	if !w.Known {
		need, cover = waterOf(p.Pack).CellNeed(n.LevelMM-w.RiseMM, w.RiseMM, w.CeilingMM)
	}
	if p.Visit.OnlyCoverPlates || n.Bare {
		need = cover
		if enough := p.Pack.ChargeLevelMM; n.ByRod && cover == 0 && n.LevelMM < enough+rodHalfMM { // it may be short of it
			_, need = waterOf(p.Pack).CellNeed(enough-rodHalfMM-w.RiseMM, w.RiseMM, w.CeilingMM)
			need = min(need, n.RoomML)
		}
	}
	return math.Floor(need + 1e-9) // allows for rounding: 130 ml stay 130 ml
}

// waterOf returns a pack's values for the water balance, as far as one cell needs
// them.
func waterOf(p *Pack) *water.Config {
	return &water.Config{ChargeLevelMM: p.ChargeLevelMM, FillMarkMM: p.FillMarkMM, FreeSurfaceCM2: p.FreeSurfaceCM2}
}

// ReadFirst lists the cells whose level somebody must read with the level rod before
// any water, the worst first. A cell that was read in the open visit is done with.
func (p *Picture) ReadFirst() (cells []int) {
	for _, n := range p.Water.ReadFirst[:p.Water.ReadAsk.Len()] {
		if number := int(n); number >= 1 && number <= p.Pack.Cells && (!p.Visit.Open || !p.Visit.Cells[number-1].read()) {
			cells = append(cells, number)
		}
	}
	return cells
}

// read reports whether the level rod was in the cell in this visit.
func (c *CellVisit) read() bool { return c.LevelMM != nil || c.BeforeMM != nil || c.Dry || c.WasDry }
