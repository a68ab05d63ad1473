package records

import (
	"bayward/agent/charge"
	"bayward/agent/electrolyte"
	"bayward/agent/logbook"
)

type gravityRow struct {
	Start              string
	Cells              int // that count
	Low, High, Spread  string
	LowCell, HighCell  int
	Mean               string
	ByHand, Incomplete bool // without a temperature: as read
}

type gravityCell struct {
	Cell                          int
	Read, AtC, Corrected, Verdict string
}

// counts reports whether a reading is one that means something. Of one that was
// recorded before they were judged that is not known, and it counts.
func counts(c *logbook.VisitCell) bool {
	verdict := charge.ParseGravityVerdict(c.Verdict)
	return c.Gravity != nil && (verdict == charge.NotRead || verdict.Sound())
}

// gravity adds the spread of one visit's readings, referred to 25 °C, and reports
// whether there are any.
func (p *report) gravity(v *logbook.Visit) bool {
	row := gravityRow{Start: p.at(v.Start), ByHand: v.Origin == logbook.ByImport}
	low, high, sum, read := 9.0, 0.0, 0.0, false
	for i := range v.Cells {
		c := &v.Cells[i]
		read = read || c.Gravity != nil
		if !counts(c) {
			continue
		}
		g := *c.Gravity
		if c.AtC != nil {
			g = electrolyte.GravityAt25(g, *c.AtC)
		} else {
			row.Incomplete = true
		}
		row.Cells++
		sum += g
		if g < low {
			low, row.LowCell = g, c.Cell
		}
		if g > high {
			high, row.HighCell = g, c.Cell
		}
	}
	if !read {
		return false
	}
	if show := p.digits(3); row.Cells > 0 {
		row.Low, row.High, row.Spread, row.Mean = show(low), show(high), show(high-low), show(sum/float64(row.Cells))
	}
	p.Gravity = append(p.Gravity, row)
	return true
}

func (p *report) newest(v *logbook.Visit) {
	p.NewestOf = p.on(v.Start)
	for _, c := range v.Cells {
		if c.Gravity == nil {
			continue
		}
		cell := gravityCell{Cell: c.Cell, Read: p.digits(3)(*c.Gravity), AtC: p.known(c.AtC, p.temp), Corrected: none, Verdict: none}
		if c.AtC != nil {
			cell.Corrected = p.digits(3)(electrolyte.GravityAt25(*c.Gravity, *c.AtC))
		}
		if verdict := charge.ParseGravityVerdict(c.Verdict); verdict != charge.NotRead {
			cell.Verdict = p.T("verdict." + verdict.String())
		}
		p.Newest = append(p.Newest, cell)
	}
}
