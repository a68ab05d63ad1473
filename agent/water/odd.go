package water

import (
	"math"
	"slices"
)

const (
	// oddVisits and oddCells are the least that a comparison needs.
	oddVisits, oddCells = 3, 3
	// oddDeviations is from Iglewicz and Hoaglin, How to Detect and Handle
	// Outliers (1993): more than 3.5 of the modified z-score (from memory).
	oddDeviations = 3.5
	// madToSigma makes the median absolute deviation a standard deviation of
	// normal figures: 1/0.6745.
	madToSigma = 1.4826
	// pourShare is how accurately the technician pours and records, as a share of
	// the median. When all cells are alike, a spoonful must not make one odd.
	pourShare = 0.08
	// oddShare is the smallest deviation worth reporting.
	oddShare = 0.35
)

// OddCell is a cell that takes far more or less water than its neighbours.
type OddCell struct {
	Cell  int     // 1 is the positive end
	Ratio float64 // of its water over the median of the pack's cells
}

// OddCells lists the odd cells in the order of the pack.
func (s *Status) OddCells() []OddCell {
	var out []OddCell
	for i := range s.Cells {
		if s.OddRatio[i] != 0 {
			out = append(out, OddCell{i + 1, s.OddRatio[i]})
		}
	}
	return out
}

// countFills adds a visit's water to what the cells were given. A cell whose amount
// was not measured counts like the middle one of the others; a visit in which most
// were not measured does not count.
func (b *Balance) countFills(givenML *[MaxCells]float64, guessed CellSet) {
	cells := b.cfg.Cells
	if 2*guessed.Len() > cells {
		b.judgeFills()
		return
	}
	var measured []float64
	for i := range cells {
		if !guessed.Has(i + 1) {
			measured = append(measured, givenML[i])
		}
	}
	middle := medianOf(measured)
	for i := range cells {
		ml := givenML[i]
		if guessed.Has(i + 1) {
			ml = middle
		}
		b.cells[i].FilledML = max(b.cells[i].FilledML+ml, 0)
	}
	b.visits++
	b.judgeFills()
}

// judgeFills judges the water recorded since the memory began. It runs when a visit
// is closed, not at each tick.
func (b *Balance) judgeFills() {
	var fills [MaxCells]float64
	cells := b.cfg.Cells
	for i := range cells {
		fills[i] = b.cells[i].FilledML
	}
	b.s.Visits = b.visits
	b.s.OddRatio = oddRatios(fills, cells, b.visits)
	middle := medianOf(fills[:cells])
	for i := range cells {
		b.fillUse[i] = 1
		if b.visits >= useVisits && middle > 0 {
			b.fillUse[i] = min(max(fills[i]/middle, 1), mostUse)
		}
	}
}

// oddRatios returns the ratio of each odd cell and 0 for the others.
func oddRatios(fills [MaxCells]float64, cells, visits int) (out [MaxCells]float64) {
	middle := medianOf(fills[:cells])
	if visits < oddVisits || cells < oddCells || !(middle > 0) {
		return out
	}
	var off [MaxCells]float64
	for i := range cells {
		off[i] = math.Abs(fills[i] - middle)
	}
	sigma := max(madToSigma*medianOf(off[:cells]), pourShare*middle)
	for i := range cells {
		if off[i] > oddDeviations*sigma && off[i] >= oddShare*middle {
			out[i] = max(fills[i]/middle, 0.01) // a cell that takes none is odd, not unknown
		}
	}
	return out
}

// medianOf does not change its argument.
func medianOf(x []float64) float64 {
	var sorted [MaxCells]float64
	n := copy(sorted[:], x)
	if n == 0 {
		return 0
	}
	slices.Sort(sorted[:n])
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
