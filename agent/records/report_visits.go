package records

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"bayward/agent/electrolyte"
	"bayward/agent/logbook"
	"bayward/agent/reading"
)

type visitRow struct {
	ID                        int64
	Start, Kind, By, ClosedBy string
	Water, Before, After, Sum string
	Cells                     int
	ByHand                    bool
	Cautions, Notes           string
}

// waterPart is the water per cell: one row for each cell, the last visits as
// columns, and the sum as a bar.
type waterPart struct {
	Visits []string // dates of the columns
	Left   int      // earlier visits without a column
	Rows   []waterRow
	Median string
}

type waterRow struct {
	Cell   int
	Doses  []dose
	Sum    string
	BarPct float64 // of the largest sum
	Odd    bool    // far from its neighbours' sum
}

type dose struct {
	Text string
	Heat int // 0 none, 1 to 5
}

// columns of the table of water: more do not fit on paper.
const columns = 10

func (p *report) visits(ctx context.Context, r *logbook.Reader, q logbook.Query) error {
	var watered []logbook.Visit // the last ones
	sums := map[int]float64{}
	given := 0
	var newest *logbook.Visit
	for v, err := range r.Visits(ctx, q) {
		if err != nil {
			return err
		}
		p.mark(&v.Span)
		p.Visits = append(p.Visits, p.visitRow(&v))
		if p.gravity(&v) {
			newest = &v
		}
		if !addWater(sums, &v) {
			continue
		}
		given++
		p.visited = append(p.visited, v.Start.Wall)
		if watered = append(watered, v); len(watered) > columns {
			watered = watered[1:]
		}
	}
	if newest != nil {
		p.newest(newest)
	}
	if given > 0 {
		p.Water = p.waterPart(watered, sums, given-len(watered))
	}
	return nil
}

// addWater adds what a visit gave to each cell and reports whether it gave any.
func addWater(sums map[int]float64, v *logbook.Visit) bool {
	some := false
	for _, c := range v.Cells {
		if c.ML != nil {
			sums[c.Cell] += *c.ML
			some = true
		}
	}
	return some
}

func (p *report) visitRow(v *logbook.Visit) visitRow {
	water := v.Water
	if v.USPerCM != nil {
		water = strings.TrimPrefix(water+", "+reading.Digits(*v.USPerCM, 1)+" µS/cm", ", ")
	}
	if water == "" {
		water = "not stated"
	}
	if v.Kind == logbook.VisitReadings {
		water = none
	}
	row := visitRow{
		ID: v.ID, Start: at(v.Start), Kind: v.Kind, By: v.By, Water: water, Before: p.known(v.BeforeMM, p.length), After: p.known(v.AfterMM, p.length),
		Sum: p.volume(v.TotalML), Cells: len(v.Cells), ByHand: v.Origin == logbook.ByImport, Cautions: v.Cautions, Notes: v.Notes,
	}
	if v.ClosedBy != "" && v.ClosedBy != v.By {
		row.ClosedBy = v.ClosedBy
	}
	if row.By == "" {
		row.By = none
	}
	return row
}

func (p *report) waterPart(watered []logbook.Visit, sums map[int]float64, left int) *waterPart {
	part := &waterPart{Left: left}
	most, cells := 0.0, p.cellNumbers(sums)
	for i := range watered {
		v := &watered[i] // several may be on one day
		part.Visits = append(part.Visits, fmt.Sprintf("No. %d, %s", v.ID, v.Start.Wall.UTC().Format(time.DateOnly)))
		for _, c := range watered[i].Cells {
			most = max(most, orZero(c.ML))
		}
	}
	var all []float64
	for _, cell := range cells {
		all = append(all, sums[cell])
	}
	middle, largest := median(all), max(slices.Max(all), 1)
	part.Median = p.volume(middle) + " " + p.Volume
	for _, cell := range cells {
		row := waterRow{Cell: cell, Sum: p.volume(sums[cell]), BarPct: 100 * sums[cell] / largest}
		// A quarter off is worth a look (common practice, no source).
		row.Odd = middle > 0 && (sums[cell] > 1.25*middle || sums[cell] < 0.75*middle)
		for i := range watered {
			row.Doses = append(row.Doses, p.dose(&watered[i], cell, most))
		}
		part.Rows = append(part.Rows, row)
	}
	return part
}

// cellNumbers returns all cells of the pack, or those that were given water.
func (p *report) cellNumbers(sums map[int]float64) []int {
	var out []int
	for cell := range sums {
		out = append(out, cell)
	}
	if p.Facts != nil {
		for cell := range p.Facts.Cells {
			out = append(out, cell+1)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func (p *report) dose(v *logbook.Visit, cell int, most float64) dose {
	for _, c := range v.Cells {
		if c.Cell == cell && c.ML != nil {
			d := dose{Text: p.volume(*c.ML)}
			if *c.ML > 0 && most > 0 {
				d.Heat = 1 + int(4*min(*c.ML/most, 1))
			}
			return d
		}
	}
	return dose{Text: none}
}

func median(all []float64) float64 {
	s := slices.Sorted(slices.Values(all))
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

type gravityRow struct {
	Start              string
	Cells              int
	Low, High, Spread  string
	LowCell, HighCell  int
	Mean               string
	ByHand, Incomplete bool // without a temperature: as read
}

type gravityCell struct {
	Cell                 int
	Read, AtC, Corrected string
}

// gravity adds the spread of one visit's readings, referred to 25 °C, and reports
// whether there are any.
func (p *report) gravity(v *logbook.Visit) bool {
	row := gravityRow{Start: at(v.Start), ByHand: v.Origin == logbook.ByImport}
	low, high, sum := 9.0, 0.0, 0.0
	for _, c := range v.Cells {
		if c.Gravity == nil {
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
	if row.Cells == 0 {
		return false
	}
	row.Low, row.High, row.Spread, row.Mean = reading.Digits(low, 3), reading.Digits(high, 3), reading.Digits(high-low, 3), reading.Digits(sum/float64(row.Cells), 3)
	p.Gravity = append(p.Gravity, row)
	return true
}

func (p *report) newest(v *logbook.Visit) {
	p.NewestOf = at(v.Start)
	for _, c := range v.Cells {
		if c.Gravity == nil {
			continue
		}
		cell := gravityCell{Cell: c.Cell, Read: reading.Digits(*c.Gravity, 3), AtC: p.known(c.AtC, p.temp), Corrected: none}
		if c.AtC != nil {
			cell.Corrected = reading.Digits(electrolyte.GravityAt25(*c.Gravity, *c.AtC), 3)
		}
		p.Newest = append(p.Newest, cell)
	}
}

type reasonRow struct {
	Start, End, Code, Text, Ended string
}

func (p *report) reasons(ctx context.Context, r *logbook.Reader, q logbook.Query) error {
	for f, err := range r.Refusals(ctx, q) {
		if err != nil {
			return err
		}
		p.mark(&f.Span)
		p.Refusals = append(p.Refusals, reasonRow{at(f.Start), at(f.End), strings.Join(f.Codes, ", "), foundText(p.voice, f.Code, &f.Found, f.Evidence), f.Ended})
	}
	for f, err := range r.Findings(ctx, q) {
		if err != nil {
			return err
		}
		p.mark(&f.Span)
		ended := "not blocked"
		if f.Blocks {
			ended = "blocked"
		}
		if f.Latched {
			ended += ", latched"
		}
		text := foundText(p.voice, f.Code, &f.Found, f.Evidence)
		if f.Fault != "" {
			text = fmt.Sprintf("%s (sensor: %s)", text, f.Fault)
		}
		p.Findings = append(p.Findings, reasonRow{at(f.Start), at(f.End), f.Code, text, ended})
	}
	return nil
}
