package records

import (
	"slices"

	"bayward/agent/logbook"
	"bayward/agent/order"
)

// waterPart is the water per cell: one row for each cell, the last visits as
// columns, and the sum as a bar.
type waterPart struct {
	Visits []string // heads of the columns
	Left   int      // earlier visits without a column
	Rows   []waterRow
	Median string
}

type waterRow struct {
	Cell   int
	Doses  []dose
	Sum    string
	Known  bool    // there is a sum
	BarPct float64 // of the largest sum
	Odd    bool    // far from its neighbours' sum
}

type dose struct {
	Text, Was, Drawn string
	Heat             int // 0 none, 1 to 5
}

// cellWater adds up the water of all visits.
type cellWater struct {
	last  []logbook.Visit // the last ones
	given int             // visits with water
	sums  map[int]float64
	times map[int]int  // in how many visits the cell's water is known
	loose map[int]bool // some of it was not measured
}

// add adds a visit and reports whether it gave any cell water.
func (w *cellWater) add(v *logbook.Visit) bool {
	if w.sums == nil {
		w.sums, w.times, w.loose = map[int]float64{}, map[int]int{}, map[int]bool{}
	}
	some := false
	for _, c := range v.Cells {
		if c.ML == nil {
			continue
		}
		w.sums[c.Cell] += *c.ML
		w.times[c.Cell]++
		w.loose[c.Cell] = w.loose[c.Cell] || c.How == string(order.AsProposed)
		some = true
	}
	if some {
		w.given++
		w.last = lastOf(append(w.last, *v))
	}
	return some
}

// whole reports whether a cell's water is known of each visit that gave any: a sum
// that lacks some is not compared with the others.
func (w *cellWater) whole(cell int) bool { return w.times[cell] == w.given }

// medianOf returns the middle of the whole sums that keep allows; ok is false when
// there is none.
func (w *cellWater) median(keep func(cell int) bool) (ml float64, ok bool) {
	var all []float64
	for cell, sum := range w.sums {
		if w.whole(cell) && keep(cell) {
			all = append(all, sum)
		}
	}
	if len(all) == 0 {
		return 0, false
	}
	return median(all), true
}

func median(all []float64) float64 {
	s := slices.Sorted(slices.Values(all))
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

func (p *report) waterPart(w *cellWater) *waterPart {
	if w.given == 0 {
		return nil
	}
	part := &waterPart{Left: w.given - len(w.last), Median: none}
	most, largest := 0.0, 1.0
	for i := range w.last {
		part.Visits = append(part.Visits, p.visitColumn(&w.last[i]))
		for _, c := range w.last[i].Cells {
			most = max(most, orZero(c.ML))
		}
	}
	for _, sum := range w.sums {
		largest = max(largest, sum)
	}
	if ml, ok := w.median(func(int) bool { return true }); ok {
		part.Median = p.volume(ml) + " " + p.Volume
	}
	for _, cell := range p.cellNumbers(w.sums) {
		row := p.waterRow(w, cell, largest)
		for i := range w.last {
			row.Doses = append(row.Doses, p.dose(&w.last[i], cell, most))
		}
		part.Rows = append(part.Rows, row)
	}
	return part
}

// waterRow returns the sum of a cell. A cell of which nothing is known has none.
func (p *report) waterRow(w *cellWater, cell int, largest float64) waterRow {
	sum, known := w.sums[cell]
	row := waterRow{Cell: cell, Sum: none, Known: known, BarPct: 100 * sum / largest}
	switch {
	case !known:
	case w.whole(cell):
		row.Sum = p.volume(sum)
	default:
		row.Sum = "≥ " + p.volume(sum)
	}
	// A quarter off is worth a look (common practice, no source). Amounts that nobody
	// measured show nothing.
	middle, ok := w.median(func(cell int) bool { return !w.loose[cell] })
	row.Odd = known && ok && middle > 0 && w.whole(cell) && !w.loose[cell] && (sum > 1.25*middle || sum < 0.75*middle)
	return row
}

// dose shows what a visit gave a cell, how that is known, and what was drawn off.
func (p *report) dose(v *logbook.Visit, cell int, most float64) dose {
	c := cellOf(v, cell)
	d := dose{Text: none}
	if c.ML != nil {
		d.Text = signs[order.How(c.How)] + p.volume(*c.ML)
		if *c.ML > 0 && most > 0 {
			d.Heat = 1 + int(4*min(*c.ML/most, 1))
		}
	}
	if was := v.Corrected(cell, logbook.CellML); len(was) > 0 {
		d.Was = p.known(was[0].Old, p.volume)
	}
	if c.DrawnML != nil {
		d.Drawn = p.T("drawn", p.volume(*c.DrawnML))
	}
	return d
}

// signs tell apart how an amount was found; see the report's own legend.
var signs = map[order.How]string{order.ToMark: "≈ ", order.AsProposed: "~ "}
