package bay

import (
	"math"

	"bayward/agent/order"
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

// ReadFirst lists the cells whose level somebody must read with the level rod now, before
// any water, the worst first: those of ToRead that get no water before it.
func (p *Picture) ReadFirst() (cells []int) {
	for _, number := range p.ToRead() {
		if !p.waterFirst(number) {
			cells = append(cells, number)
		}
	}
	return cells
}

// ReadAfter lists the cells to read once they have got their water, the worst first: what
// is read then shows the water too, and so lasts longer.
func (p *Picture) ReadAfter() (cells []int) {
	for _, number := range p.ToRead() {
		if p.waterFirst(number) {
			cells = append(cells, number)
		}
	}
	return cells
}

// ToRead lists the cells whose level somebody must read with the level rod at the next
// visit, or in the open one, the worst first. A cell that was read, and got no water
// since, is done with unless that reading leaves a doubt.
func (p *Picture) ToRead() (cells []int) {
	for _, n := range p.Water.ReadFirst[:p.Water.ReadAsk.Len()] {
		if number := int(n); number >= 1 && number <= p.Pack.Cells && !p.wasRead(number) {
			cells = append(cells, number)
		}
	}
	return cells
}

// wasRead reports whether the level rod was in the cell in the open visit, with what was
// poured or drawn off, and one reading is enough. "Filled to the mark" is no reading.
func (p *Picture) wasRead(number int) bool {
	v, w := &p.Visit, &p.Water
	c := &v.Cells[number-1]
	switch {
	case !v.Open:
		return false
	case c.LevelLast:
		return !w.Doubts.Has(number) && !w.Unseen.Has(number) && w.Doubted>>(number-1)&1 == 0
	}
	return (c.LevelMM != nil || c.BeforeMM != nil || c.Dry || c.WasDry) && v.untouched(number)
}

// waterFirst reports whether a cell that is to be read gets water before that, or has been
// filled to the mark: then the reading is what shows the mark. One whose readings contradict
// does not, nor one that is bare, nor one whose level is a guess.
func (p *Picture) waterFirst(number int) bool {
	if c := &p.Visit.Cells[number-1]; p.Visit.Open && c.Done && c.How == order.ToMark && p.Water.Doubted>>(number-1)&1 == 0 {
		return true
	}
	if p.Water.Unsure.Has(number) || !p.Visit.Open && p.Stage != ReadyToWater || !p.Visit.untouched(number) || p.Water.Doubted>>(number-1)&1 != 0 {
		return false
	}
	n := p.Cell(number)
	return n.AddKnown && n.AddML >= 1 && !n.Bare
}
