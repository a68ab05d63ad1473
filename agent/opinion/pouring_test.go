package opinion

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/order"
)

// waterer is a person who waters in a way of people: what is done at the cells, and what
// is told of it, and when.
type waterer struct {
	name   string
	water  func(p *person, y *yard)
	within float64 // the least share of amounts that are right to 2 mm
}

// waterers are those that the trade knows.
var waterers = []waterer{
	{"as proposed, measured", (*person).visit, 0.8},
	{"filled to the mark", fillsToTheMark, 0.8},
	{"a visit typed in after pouring", typesAVisitLater, 0.8},
	{"a sheet typed in the evening", typesASheetLater, 0.8},
	{"a sheet, filled to the mark", sheetToTheMark, 0.6},
	{"in two passes", inTwoPasses, 0.8},
	{"with a helper", withAHelper, 0.8},
	{"poured too much and drawn off", drawsOff, 0.8},
}

// eyeSD is how well a person sees the fill mark, mm (common practice, no source).
const eyeSD = 0.7

// toTheMark pours a share of what is missing to the mark, and returns the water, ml.
func (p *person) toTheMark(y *yard, cell int, share float64) float64 {
	pack := &y.setup.Pack
	upMM := max(pack.FillMarkMM+eyeSD*y.rand.NormFloat64()-y.levelMM(cell-1), 0) * share
	ml := upMM * pack.FreeSurfaceCM2 / 10
	y.pour(cell, ml)
	return ml
}

// noted is what the jug shows of an amount: steps of 5 ml, and its error.
func (p *person) noted(y *yard, ml float64) *float64 {
	return new(max(math.Round(ml*(1+p.jugShare*y.rand.NormFloat64())/5)*5, 0))
}

// open opens a visit, and reads what is asked.
func (p *person) open(y *yard) bool {
	if !insist(y, order.Order{Kind: order.VisitOpen}) {
		return false
	}
	p.visits++
	y.inside = true
	p.read(y)
	if p.pours != nil {
		p.pours(y)
	}
	return true
}

// done reads what is asked at the end, and closes the visit.
func (p *person) done(y *yard) {
	p.readAll(y)
	y.inside = false
	insist(y, order.Order{Kind: order.VisitClose})
}

// enter hands in what was done. Asked back, the person looks with the rod, and says what
// it shows.
func (p *person) enter(y *yard, lines ...order.CellEntry) {
	o := order.Order{Kind: order.Entry, Cells: lines}
	if taken, again := give(y, o); taken || !again {
		return
	}
	for i := range lines {
		if lines[i].LevelMM == nil && lines[i].How != order.ToMark {
			lines[i].LevelMM = p.rod(y, lines[i].Cell).LevelMM
		}
	}
	insist(y, o)
}

func fillsToTheMark(p *person, y *yard) {
	if !p.open(y) {
		return
	}
	for n := 1; n <= y.setup.Pack.Cells; n++ {
		if n != p.skips {
			p.toTheMark(y, n, 1)
		}
		p.enter(y, order.CellEntry{Cell: n, How: order.ToMark})
	}
	p.done(y)
}

// jug pours to the mark from a jug, and notes it on paper.
func (p *person) jug(y *yard) (lines []order.CellEntry) {
	p.pours(y)
	for n := 1; n <= y.setup.Pack.Cells; n++ {
		if ml := p.toTheMark(y, n, 1); ml > 0 {
			lines = append(lines, order.CellEntry{Cell: n, ML: p.noted(y, ml), How: order.Measured})
		}
		y.run(time.Minute)
	}
	return lines
}

func typesAVisitLater(p *person, y *yard) {
	lines := p.jug(y)
	y.run(time.Duration(p.visits%4) * 7 * time.Minute)
	if !insist(y, order.Order{Kind: order.VisitOpen}) {
		return
	}
	p.visits++
	y.inside = true
	if len(lines) > 0 {
		p.enter(y, lines...)
	}
	p.read(y)
	p.done(y)
}

func typesASheetLater(p *person, y *yard) {
	lines := p.jug(y)
	y.run(time.Duration(1+p.visits%4) * time.Hour)
	p.visits++
	if len(lines) > 0 {
		insist(y, order.Order{Kind: order.Entry, Cells: lines, DoneBy: "B. Person", DoneAt: "2026-03-01T14:30:00Z"})
	}
	p.read(y)
}

func sheetToTheMark(p *person, y *yard) {
	var lines []order.CellEntry
	p.pours(y)
	for n := 1; n <= y.setup.Pack.Cells; n++ {
		p.toTheMark(y, n, 1)
		lines = append(lines, order.CellEntry{Cell: n, How: order.ToMark})
		y.run(time.Minute)
	}
	y.run(time.Duration(1+p.visits%4) * time.Hour)
	p.visits++
	insist(y, order.Order{Kind: order.Entry, Cells: lines, DoneBy: "B. Person", DoneAt: "2026-03-01T14:30:00Z"})
	p.read(y)
}

// inTwoPasses gives half in one visit, and the rest in another one soon after.
func inTwoPasses(p *person, y *yard) {
	for pass := range 2 {
		if !insist(y, order.Order{Kind: order.VisitOpen}) {
			return
		}
		if y.inside = true; pass == 0 {
			p.visits++
			p.read(y)
			p.pours(y)
		}
		for n := 1; n <= y.setup.Pack.Cells; n++ {
			part := 1.0
			if pass == 0 {
				part = 0.5
			}
			if ml := p.toTheMark(y, n, part); ml > 0 {
				p.enter(y, order.CellEntry{Cell: n, ML: p.noted(y, ml), How: order.Measured})
			}
		}
		p.done(y)
		y.run(15 * time.Minute)
	}
}

// withAHelper: one enters what is poured at the first cells; the helper pours into the
// others meanwhile, and hands in a sheet when the visit is closed.
func withAHelper(p *person, y *yard) {
	if !p.open(y) {
		return
	}
	cells := y.setup.Pack.Cells
	var sheet []order.CellEntry
	for n := 1; n <= cells/2; n++ {
		helped := n + cells/2
		if ml := p.toTheMark(y, helped, 1); ml > 0 {
			sheet = append(sheet, order.CellEntry{Cell: helped, ML: p.noted(y, ml), How: order.Measured})
		}
		if ml := p.toTheMark(y, n, 1); ml > 0 {
			p.enter(y, order.CellEntry{Cell: n, ML: p.noted(y, ml), How: order.Measured})
		}
	}
	p.done(y)
	y.run(20 * time.Minute)
	if len(sheet) > 0 {
		insist(y, order.Order{Kind: order.Entry, Cells: sheet, DoneBy: "A. Helper", DoneAt: "2026-03-01T14:30:00Z"})
	}
}

// drawsOff fills to the mark, two cells well over it, and draws what is too much off again.
func drawsOff(p *person, y *yard) {
	if !p.open(y) {
		return
	}
	for n := 1; n <= y.setup.Pack.Cells; n++ {
		ml := p.toTheMark(y, n, 1)
		if ml <= 0 {
			continue
		}
		line := order.CellEntry{Cell: n, How: order.Measured}
		if n%5 == 4 {
			const tooMuch = 50.0
			y.pour(n, tooMuch)
			ml += tooMuch
			y.pour(n, -tooMuch)
			line.DrawnML = p.noted(y, tooMuch)
		}
		line.ML = p.noted(y, ml)
		p.enter(y, line)
	}
	p.done(y)
}

// poured is what a play of pouring shows.
type poured struct {
	offMM  []float64 // told less needed, of each cell at each watering after the first
	calls  int
	dry    int // calls at which no water was poured
	needed int // calls by the truth
	yard   *yard
	person *person
}

// told notes what somebody who is about to pour is told. What a cell needs is by the truth.
func (o *poured) told(y *yard) {
	pack := &y.setup.Pack
	for i := range y.cells {
		if at := y.pic.Cell(i + 1); at.AddKnown && o.calls > 1 {
			o.offMM = append(o.offMM, at.AddML/pack.FreeSurfaceCM2*10-max(pack.FillMarkMM-y.settledMM(i), 0))
		}
	}
}

// within returns how many of the amounts told are right to 2 mm.
func (o *poured) within() (n int) {
	for _, mm := range o.offMM {
		if math.Abs(mm) <= 2 {
			n++
		}
	}
	return n
}

// playPouring lets days pass with an honest pack and somebody who waters in a way.
func playPouring(t *testing.T, w *waterer, seed uint64, days int) *poured {
	y, p := honest(t, seed)
	y.rods, y.habits.holiday = nil, 0
	o := &poured{yard: y, person: p}
	truth := newShadow(y)
	y.judge = func(time.Duration) { truth.follow(y) }
	p.measures, p.pours = true, o.told
	p.waters = func(p *person, y *yard) {
		o.calls++
		before := y.content()
		w.water(p, y)
		if y.content() < before+1 {
			o.dry++
		}
	}
	y.live(days, p, nil)
	o.needed = truth.calls
	return o
}

// content is the water in all cells, ml.
func (y *yard) content() (ml float64) {
	for i := range y.cells {
		ml += y.cells[i].ml
	}
	return ml
}

// shadow is the same pack with everything known: at rest, when its lowest cell is a third
// of the way from the fill mark to the lowest level for charging, each cell is filled to the
// mark.
type shadow struct {
	mm, ml []float64
	calls  int
}

func newShadow(y *yard) *shadow {
	s := &shadow{}
	for i := range y.cells {
		s.mm, s.ml = append(s.mm, y.settledMM(i)), append(s.ml, y.cells[i].ml)
	}
	return s
}

func (s *shadow) follow(y *yard) {
	pack, low := &y.setup.Pack, math.Inf(1)
	for i := range s.mm {
		s.mm[i] -= max(s.ml[i]-y.cells[i].ml, 0) / pack.FreeSurfaceCM2 * 10
		s.ml[i] = y.cells[i].ml
		low = min(low, s.mm[i])
	}
	if y.currentA != 0 || low > pack.FillMarkMM-(pack.FillMarkMM-pack.ChargeLevelMM)/3 {
		return
	}
	s.calls++
	for i := range s.mm {
		s.mm[i] = max(s.mm[i], pack.FillMarkMM)
	}
}

// TestPouringAsPeopleDo: whatever way people water in, the next amounts fit what the cells
// need, nobody is called much more often than the water lost asks for, no plate gets bare,
// and a probe that is right is not doubted. The bounds are a little wider than what is
// reached. Wanted are all amounts within 2 mm, of which the rod alone takes some (1 mm and
// whole millimetres), and 1.3 times the calls: most of the others ask for a reading.
func TestPouringAsPeopleDo(t *testing.T) {
	days, seeds := 60, uint64(4)
	if testing.Short() {
		days, seeds = 40, 3
	}
	for i := range waterers {
		w := &waterers[i]
		t.Run(w.name, func(t *testing.T) {
			calls, dry, needed, told, within, readings := 0, 0, 0, 0, 0, 0
			for seed := range seeds {
				o := playPouring(t, w, seed, days)
				calls, dry, needed = calls+o.calls, dry+o.dry, needed+o.needed
				told, within, readings = told+len(o.offMM), within+o.within(), readings+o.person.readings
				require.Zero(t, o.yard.oracle.granted[bare], "pack %d: %v", seed, &o.yard.oracle)
				require.LessOrEqual(t, o.yard.blocks["level-unknown"], time.Hour, "pack %d: the probe was doubted", seed)
			}
			t.Logf("figure: %s, %d packs, %d days: %d calls where the water lost asks for %d, %d of them without water, %d readings; %.1f %% of %d amounts told within 2 mm",
				w.name, seeds, days, calls, needed, dry, readings, 100*float64(within)/float64(told), told)
			require.GreaterOrEqual(t, float64(within)/float64(told), w.within)
			require.LessOrEqual(t, float64(calls), 2.2*float64(needed)+2)
			require.LessOrEqual(t, dry, 1+calls/10)
		})
	}
}
