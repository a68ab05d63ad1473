package water

import (
	"fmt"
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

// Text explains the usual causes and what to check, in one or two sentences.
//
// Sources: TM 10-6140-200-14 (causes of a low level: cracked jar, a cell missed
// when watering, a weak cell, frequent overcharge); TM 5-684/MO-200 (cells of
// higher gravity use more water); Scholl (period handbook: a cell that uses more
// water leaks, the more so if its gravity falls); no use at all: undercharge (from
// memory).
func (o OddCell) Text() string {
	if o.Ratio > 1 {
		return fmt.Sprintf("Cell %d uses %.1f times as much water as its neighbours. It is usually overcharged or hot, or its jar is cracked. "+
			"Check its temperature and gravity at the end of a charge, look for wet or corroded places around and under it, and check the amount poured; "+
			"if its gravity falls from visit to visit while the others do not rise, it leaks.", o.Cell, o.Ratio)
	}
	return fmt.Sprintf("Cell %d uses only %.2f times as much water as its neighbours. Usually it no longer takes charge (internal short or sulfation) and so does not gas, "+
		"its vent is blocked, or its fill was missed or recorded wrongly. "+
		"Compare its gravity and voltage with the others at the end of a charge. Check its vent (a blocked vent can burst the jar) and that it was filled to the same mark.", o.Cell, o.Ratio)
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
