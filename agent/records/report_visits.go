package records

import (
	"context"
	"slices"
	"strings"

	"bayward/agent/logbook"
	"bayward/agent/words"
)

type visitRow struct {
	ID                        int64
	Start, Kind, Who          string
	Water, Before, After, Sum string
	Cells                     int
	ByHand, Late              bool
	Cautions, Notes           string
}

// columns of the tables of cells: more do not fit on paper.
const columns = 10

func (p *report) visits(ctx context.Context, r *logbook.Reader, q logbook.Query) error {
	var water cellWater
	var read []logbook.Visit // the last ones with level readings by hand
	var newest *logbook.Visit
	for v, err := range r.Visits(ctx, q) {
		if err != nil {
			return err
		}
		p.mark(&v.Span)
		p.Visits = append(p.Visits, p.visitRow(&v))
		p.corrections(&v)
		if p.gravity(&v) {
			newest = &v
		}
		if hasRods(&v) {
			read = lastOf(append(read, v))
		}
		if water.add(&v) {
			p.visited = append(p.visited, v.Start.Wall)
		}
	}
	if newest != nil {
		p.newest(newest)
	}
	p.Water, p.Rods = p.waterPart(&water), p.rodPart(read)
	return nil
}

// lastOf keeps what fits on paper.
func lastOf(all []logbook.Visit) []logbook.Visit { return all[max(len(all)-columns, 0):] }

func (p *report) visitRow(v *logbook.Visit) visitRow {
	row := visitRow{
		ID: v.ID, Start: p.at(v.Start), Kind: p.kind(v.Kind), Who: p.who(v), Water: p.water(v), Before: p.known(v.BeforeMM, p.length), After: p.known(v.AfterMM, p.length),
		Sum: p.known(totalOf(v), p.volume), Cells: len(v.Cells), ByHand: v.Origin == logbook.ByImport, Late: v.Origin == logbook.ByPaper,
		Cautions: p.voice.Confirmed(v.Cautions), Notes: confirmedLines(p.voice, v.Notes),
	}
	return row
}

// totalOf returns the water of a visit, nil when no cell's is known.
func totalOf(v *logbook.Visit) logbook.Num {
	known := slices.ContainsFunc(v.Cells, func(c logbook.VisitCell) bool { return c.ML != nil })
	if !known && v.TotalML == 0 {
		return nil
	}
	return logbook.Known(v.TotalML)
}

func (p *report) kind(kind string) string {
	switch kind {
	case logbook.VisitWater, logbook.VisitCoverPlates, logbook.VisitReadings:
		return p.T("kind." + kind)
	}
	return kind
}

func (p *report) water(v *logbook.Visit) string {
	if v.Kind == logbook.VisitReadings {
		return none
	}
	var parts []string
	switch v.Water {
	case "":
	case "demineralised", "distilled", "other":
		parts = append(parts, p.T("water."+v.Water))
	default:
		parts = append(parts, v.Water)
	}
	if v.USPerCM != nil {
		parts = append(parts, p.voice.Figure(*v.USPerCM, 1, "µS/cm"))
	}
	if len(parts) == 0 {
		return p.T("water.unstated")
	}
	return strings.Join(parts, ", ")
}

// who names the people of a visit, with their cells where there were several.
func (p *report) who(v *logbook.Visit) string {
	parts := deleteEmpty([]string{v.By})
	if v.ClosedBy != "" && v.ClosedBy != v.By {
		parts = append(parts, p.T("visit.closed-by", v.ClosedBy))
	}
	if people, cells := cellsBy(v); len(people) > 1 || len(people) == 1 && people[0] != v.By {
		for _, name := range people {
			parts = append(parts, p.T("visit.cells-by", name, p.voice.Cells(cells[name])))
		}
	}
	if !v.LateAt.IsZero() {
		parts = append(parts, p.T("visit.late", p.clock(v.LateAt, " "), v.LateBy))
	}
	if len(parts) == 0 {
		return none
	}
	return strings.Join(parts, "; ")
}

// cellsBy returns who recorded something at which cells, in the order of the cells.
func cellsBy(v *logbook.Visit) (people []string, cells map[string][]int) {
	cells = map[string][]int{}
	for _, c := range v.Cells {
		for _, name := range deleteEmpty(strings.Split(c.By, "\n")) {
			if cells[name] = append(cells[name], c.Cell); len(cells[name]) == 1 {
				people = append(people, name)
			}
		}
	}
	return people, cells
}

// confirmedLines words what the forms of a visit have confirmed, and keeps other
// lines as written.
func confirmedLines(v words.Voice, notes string) string {
	lines := strings.Split(notes, "\n")
	for i := range lines {
		lines[i] = v.Confirmed(lines[i])
	}
	return strings.Join(lines, "\n")
}

type correctionRow struct {
	When     string
	Visit    int64
	Cell     int
	What     string
	Old, New string
	By, Why  string
}

func (p *report) corrections(v *logbook.Visit) {
	for i := range v.Corrections {
		c := &v.Corrections[i]
		row := correctionRow{
			When: p.at(c.At), Visit: v.ID, Cell: c.Cell, What: p.T("field." + c.Field), By: c.By, Why: c.Reason,
			Old: p.known(c.Old, p.ofField(c.Field)), New: p.known(c.New, p.ofField(c.Field)),
		}
		if c.New == nil {
			row.New = p.T("void")
		}
		p.Corrections = append(p.Corrections, row)
	}
}

// ofField formats the value of a cell's field with its unit.
func (p *report) ofField(field string) func(float64) string {
	switch field {
	case logbook.CellML, logbook.CellDrawnML:
		return func(v float64) string { return p.volume(v) + " " + p.Volume }
	case logbook.CellGravity:
		return p.digits(3)
	}
	return func(v float64) string { return p.length(v) + " " + p.Length }
}

// visitColumn heads the column of a visit: several may be on one day.
func (p *report) visitColumn(v *logbook.Visit) string {
	return p.T("cells.visit", v.ID, p.day(v.Start.Wall))
}

// cellOf returns what a visit has of a cell, the zero value for nothing.
func cellOf(v *logbook.Visit, cell int) logbook.VisitCell {
	for _, c := range v.Cells {
		if c.Cell == cell {
			return c
		}
	}
	return logbook.VisitCell{}
}

// rodPart is the level readings by hand: one row for each cell.
type rodPart struct {
	Visits []string
	Rows   []rodRow
}

type rodRow struct {
	Cell     int
	Readings []string
}

func hasRods(v *logbook.Visit) bool {
	return slices.ContainsFunc(v.Cells, func(c logbook.VisitCell) bool {
		return c.BeforeMM != nil || c.AfterMM != nil || c.DryBefore || c.DryAfter
	})
}

func (p *report) rodPart(read []logbook.Visit) *rodPart {
	if len(read) == 0 {
		return nil
	}
	part, cells := &rodPart{}, map[int]float64{}
	for i := range read {
		part.Visits = append(part.Visits, p.visitColumn(&read[i]))
		for _, c := range read[i].Cells {
			cells[c.Cell] = 0
		}
	}
	for _, cell := range p.cellNumbers(cells) {
		row := rodRow{Cell: cell}
		for i := range read {
			c := cellOf(&read[i], cell)
			row.Readings = append(row.Readings, p.rod(c.BeforeMM, c.DryBefore)+" → "+p.rod(c.AfterMM, c.DryAfter))
		}
		part.Rows = append(part.Rows, row)
	}
	return part
}

func (p *report) rod(mm logbook.Num, dry bool) string {
	if mm == nil && dry {
		return p.T("rods.dry")
	}
	return p.known(mm, p.length)
}

// cellNumbers returns all cells of the pack, or those that have an entry.
func (p *report) cellNumbers(entries map[int]float64) []int {
	var out []int
	for cell := range entries {
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

type reasonRow struct {
	Start, End, Code, Text, Ended string
}

func (p *report) reasons(ctx context.Context, r *logbook.Reader, q logbook.Query) error {
	for f, err := range r.Refusals(ctx, q) {
		if err != nil {
			return err
		}
		p.mark(&f.Span)
		p.Refusals = append(p.Refusals, reasonRow{p.at(f.Start), p.at(f.End), strings.Join(f.Codes, ", "), foundText(p.voice, f.Code, &f.Found, f.Evidence), p.refusalEnded(f.Ended)})
	}
	for f, err := range r.Findings(ctx, q) {
		if err != nil {
			return err
		}
		p.mark(&f.Span)
		ended := p.T("finding.free")
		if f.Blocks {
			ended = p.T("finding.blocked")
		}
		if f.Latched {
			ended += ", " + p.T("finding.latched")
		}
		text := foundText(p.voice, f.Code, &f.Found, f.Evidence)
		if f.Fault != "" {
			text = p.T("finding.sensor", text, f.Fault)
		}
		p.Findings = append(p.Findings, reasonRow{p.at(f.Start), p.at(f.End), f.Code, text, ended})
	}
	return nil
}

func (p *report) refusalEnded(how string) string {
	switch how {
	case logbook.RefusalGranted, logbook.RefusalLeft, logbook.RefusalFull, logbook.RefusalRestart:
		return p.T("refusal." + how)
	}
	return how
}
