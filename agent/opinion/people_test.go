package opinion

import (
	"math"
	"slices"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
)

// person looks after a yard as the picture says.
type person struct {
	reads    bool                 // the cells that the picture asks for
	measures bool                 // pours with a jug, and records what it shows; otherwise as proposed
	everyNth int                  // reads all cells at each nth visit; 0: never
	rodSDMM  float64              // of one reading with the rod
	rodMM    float64              // by which each reading is too high
	jugShare float64              // standard error of an amount, and of what a cell's surface is off
	skips    int                  // a cell that is passed over and recorded with the rest
	lazy     float64              // share of the readings asked for that are not taken
	slips    int                  // each so many readings is two marks of the rod off; 0: none
	forgets  int                  // closes each so many visits without recording what was poured; 0: none
	waters   func(*person, *yard) // what is done at a call, nil: visit
	pours    func(*yard)          // sees what is told before the first water

	visits, rounds, readings int
}

// twoMarks of a rod in 1/8 in, mm.
const twoMarks = 6.0

// rod reads a cell: whole millimetres, and nothing below the plate tops.
func (p *person) rod(y *yard, cell int) order.CellEntry {
	p.readings++
	mm := math.Round(y.levelMM(cell-1) + p.rodMM + p.rodSDMM*y.rand.NormFloat64())
	if p.slips > 0 && p.readings%p.slips == 0 {
		mm += twoMarks * float64(1-2*y.rand.IntN(2))
	}
	if mm <= 0 {
		return order.CellEntry{Cell: cell, Dry: true}
	}
	return order.CellEntry{Cell: cell, LevelMM: &mm}
}

// patience is the time that one record takes.
const patience = 20 * time.Second

// give gives an order; again reports that it is asked back.
func give(y *yard, o order.Order) (taken, again bool) {
	events := y.tick(patience, o)
	for i := range events {
		switch e := &events[i]; e.Kind {
		case bay.OrderTaken:
			taken = true
		case bay.OrderRefused:
			again = e.Why.Code.Asks()
		default:
		}
	}
	return taken, again
}

// insist gives an order, and means it when asked back.
func insist(y *yard, o order.Order) bool {
	taken, again := give(y, o)
	if again {
		o.Sure = true
		taken, _ = give(y, o)
	}
	return taken
}

// look is a person who passes by and does what the picture asks for.
func (p *person) look(y *yard) {
	switch {
	case y.pic.Stage == bay.Vacant, y.pic.Stage == bay.Checking:
	case y.has("overfilled"):
		p.drawOff(y)
	case p.waters != nil && y.pic.Stage == bay.ReadyToWater:
		p.waters(p, y)
	case y.has("plates-bare"), y.pic.Stage == bay.ReadyToWater:
		p.visit(y)
	case p.reads && (y.pic.Water.ReadDue && y.currentA == 0 || y.has("level-doubted")): // a level is read at rest
		p.rounds++
		for again := 0; again < 3 && (again == 0 || y.has("level-doubted")); again++ {
			p.readAll(y)
		}
		if y.has("level-doubted") { // it is low indeed
			p.visit(y)
			p.readAll(y)
		}
	}
}

// visit waters the pack as proposed.
func (p *person) visit(y *yard) {
	if !insist(y, order.Order{Kind: order.VisitOpen}) {
		return
	}
	p.visits++
	y.inside = true
	p.read(y)
	if p.pours != nil {
		p.pours(y)
	}
	forgets := p.forgets > 0 && p.visits%p.forgets == 0
	var poured []int
	for range 6 {
		lines := p.pour(y)
		for _, c := range lines {
			if c.ML != nil {
				poured = append(poured, c.Cell)
			}
		}
		if len(lines) == 0 || forgets {
			break
		}
		insist(y, order.Order{Kind: order.Entry, Cells: lines})
	}
	p.readAll(y)
	p.readAll(y)                                        // again what contradicts
	if lines := p.pour(y); len(lines) > 0 && !forgets { // what was read may ask for more
		insist(y, order.Order{Kind: order.Entry, Cells: lines})
	}
	p.draw(y)
	y.inside = false
	insist(y, order.Order{Kind: order.VisitClose})
	y.oracle.filled(y, poured)
}

// read reads the cells that are asked for now, readAll those too that get no water after
// all.
func (p *person) read(y *yard) { p.readThese(y, y.pic.ReadFirst()) }

func (p *person) readAll(y *yard) { p.readThese(y, y.pic.ToRead()) }

// readThese reads some cells. Asked to look again, the person does.
func (p *person) readThese(y *yard, asked []int) {
	all := p.everyNth > 0 && p.visits%p.everyNth == 0
	for n := 1; n <= y.setup.Pack.Cells; n++ {
		if !all && (!p.reads || !slices.Contains(asked, n)) {
			continue
		}
		if p.lazy > 0 && y.rand.Float64() < p.lazy {
			continue
		}
		if taken, _ := give(y, order.Order{Kind: order.Entry, Cells: []order.CellEntry{p.rod(y, n)}}); !taken {
			insist(y, order.Order{Kind: order.Entry, Cells: []order.CellEntry{p.rod(y, n)}})
		}
	}
}

// pour gives each cell what is proposed, and looks again where the picture asks.
func (p *person) pour(y *yard) (lines []order.CellEntry) {
	how := order.AsProposed
	if p.measures {
		how = order.Measured
	}
	for n := 1; n <= y.setup.Pack.Cells; n++ {
		at, given := y.pic.Cell(n), y.pic.Visit.GivenML[n-1] > 0
		const jug = 5.0
		ml := math.Floor(at.AddML/jug) * jug
		switch {
		case at.AddKnown && ml > 0 && (!given || at.Bare || at.ByRod):
			if n != p.skips {
				y.pour(n, ml*(1+p.jugShare*y.rand.NormFloat64()))
			}
			lines = append(lines, order.CellEntry{Cell: n, ML: &ml, How: how})
		case at.Bare && given:
			lines = append(lines, p.rod(y, n))
		}
	}
	return lines
}

// drawOff is a visit to draw off what is too much.
func (p *person) drawOff(y *yard) {
	if !insist(y, order.Order{Kind: order.VisitOpen}) {
		return
	}
	y.inside = true
	p.draw(y)
	y.inside = false
	insist(y, order.Order{Kind: order.VisitClose})
}

// draw takes out of the cells over their ceiling what the rod shows above the fill mark,
// at least a millimetre, and reads again.
func (p *person) draw(y *yard) {
	for n := 1; n <= y.setup.Pack.Cells; n++ {
		if !y.pic.Water.Over.Has(n) {
			continue
		}
		c, aboveMM := p.rod(y, n), 1.0
		if c.LevelMM != nil {
			aboveMM = max(*c.LevelMM-y.setup.Pack.FillMarkMM, aboveMM)
		}
		ml := aboveMM * y.setup.Pack.FreeSurfaceCM2 / 10
		y.pour(n, -ml)
		c = p.rod(y, n)
		c.DrawnML = &ml
		insist(y, order.Order{Kind: order.Entry, Cells: []order.CellEntry{c}})
	}
}
