package logbook

import (
	"slices"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/electrolyte"
	"bayward/agent/order"
)

// roundFor is how long after a reading by hand the next one still belongs to the
// same round when no visit is open: the technician walks from cell to cell.
const roundFor = 30 * time.Minute

func (f *Follower) followVisit(s Stamp, p *bay.Picture, events []bay.Event) {
	f.resumeVisit(s, p, events)
	for i := range events {
		f.visitEvent(s, p, &events[i])
	}
	v := f.visit
	switch {
	case v == nil && p.Visit.Open: // its opening was lost
		f.visit = f.visitOf(s, p)
	case v != nil && v.Kind == VisitReadings && p.Now-f.readNow > roundFor:
		f.endVisit(f.readAt, v.By)
	}
}

// resumeVisit compares an open visit of the file, or one that this follower knows,
// with the picture before the tick's events.
func (f *Follower) resumeVisit(s Stamp, p *bay.Picture, events []bay.Event) {
	v := f.visit
	if v == nil {
		return
	}
	if v.Kind == VisitReadings {
		if f.readAt.Wall.IsZero() { // of the previous run
			f.readAt, f.readNow = v.Start, p.Now-roundFor-1
		}
		return
	}
	closes := slices.ContainsFunc(events, func(e bay.Event) bool { return e.Kind == bay.VisitClosed })
	if !p.Visit.Open && !closes {
		v.note(unseenEnd)
		f.endVisit(s, "")
	}
}

func (f *Follower) visitEvent(s Stamp, p *bay.Picture, e *bay.Event) {
	o := &e.Asked
	switch e.Kind {
	case bay.VisitOpened:
		f.endBefore(s)
		f.visit = &Visit{
			Span: f.begins(s, 0), Kind: visitKindOf(p), By: e.By, Cautions: o.Note, BeforeMM: level(p),
		}
	case bay.VisitClosed:
		if f.visit == nil {
			f.visit = f.visitOf(s, p)
		}
		f.visit.note(o.Note)
		f.visit.AfterMM = level(p)
		f.endVisit(s, e.By)
	case bay.OrderTaken:
		f.orderTaken(s, p, e)
	default:
	}
}

// endBefore ends what a new visit finds open.
func (f *Follower) endBefore(s Stamp) {
	switch v := f.visit; {
	case v == nil:
	case v.Kind == VisitReadings:
		f.endVisit(f.readAt, v.By)
	default:
		v.note(unseenEnd)
		f.endVisit(s, "")
	}
}

const unseenEnd = "The end of the visit was not seen."

// visitKindOf returns the kind of a visit that has just been opened. It may have
// been closed again in the same tick, so the stage counts, too.
func visitKindOf(p *bay.Picture) string {
	if p.Visit.OnlyCoverPlates || !p.Visit.Open && p.Stage != bay.ReadyToWater && p.Stage != bay.Rested {
		return VisitCoverPlates
	}
	return VisitWater
}

// corrected records a correction. That of the open visit is in its row at once.
func (f *Follower) corrected(s Stamp, p *bay.Picture, e *bay.Event) {
	o := &e.Asked
	c := Correction{
		Bay: f.bay, Pack: f.pack, Visit: int64(o.Visit), Cell: o.Cell, Field: o.Field, Old: copyOf(e.Old), New: copyOf(o.Value),
		Applied: o.Visit == 0, Reason: o.Reason, By: o.By, At: s,
	}
	if c.Applied {
		if f.visit == nil {
			f.visit = f.visitOf(s, p)
		}
		c.Field = f.visit.cell(o.Cell).stored(o.Field)
		f.visit.set(o.Cell, c.Field, c.New)
	}
	f.out.Corrections = append(f.out.Corrections, c)
}

func copyOf(v *float64) Num {
	if v == nil {
		return nil
	}
	return Known(*v)
}

func (f *Follower) orderTaken(s Stamp, p *bay.Picture, e *bay.Event) {
	o := &e.Asked
	if o.Kind == order.Correct {
		f.corrected(s, p, e)
		return
	}
	if o.Late() {
		f.out.Visits = append(f.out.Visits, f.lateVisit(s, o))
		return
	}
	switch lines := o.Entries(); {
	case o.Kind == order.Quality, slices.ContainsFunc(lines, func(c order.CellEntry) bool { return c.Pours() }):
		if f.visit == nil {
			f.visit = f.visitOf(s, p)
		}
	case len(lines) > 0:
		f.round(s, p, o)
	default:
		return
	}
	f.visit.apply(o)
	f.visit.judge(p.Charge.Gravity)
}

// apply applies an order of the visit.
func (v *Visit) apply(o *order.Order) {
	note := o.Note
	for _, line := range o.Entries() {
		v.applyLine(&line, o.By)
	}
	if o.Kind == order.Quality {
		if !o.Unmeasured {
			v.USPerCM = Known(o.USPerCM)
		}
		if o.Water != "" {
			v.Water, note = o.Water, "" // which has the same
		}
	}
	v.note(note)
}

// applyLine applies what was done at one cell. The rod showed the plates before the
// water of the line, and a level after it.
func (v *Visit) applyLine(line *order.CellEntry, by string) {
	c := v.cell(line.Cell)
	c.by(by)
	if line.Dry {
		c.see(nil)
	}
	switch {
	case line.ML != nil:
		c.pour(*line.ML, line.How)
		v.TotalML += *line.ML
	case line.How == order.ToMark: // of a late sheet: its amount is not known
		c.How = string(order.ToMark)
	}
	if line.DrawnML != nil {
		c.DrawnML = Known(known(c.DrawnML) + *line.DrawnML)
	}
	if line.LevelMM != nil {
		c.see(line.LevelMM)
	}
	if line.Gravity != nil {
		c.Gravity, c.AtC = Known(*line.Gravity), Known(*line.AtC)
	}
}

// pour adds water. Once some of it was not measured, the sum is not measured.
func (c *VisitCell) pour(ml float64, how order.How) {
	if how == "" {
		how = order.Measured
	}
	if c.How != string(order.AsProposed) {
		c.How = string(how)
	}
	c.ML = Known(known(c.ML) + ml)
}

// see records a look with the level rod, before or after the cell was touched; nil:
// it shows the plates.
func (c *VisitCell) see(mm *float64) {
	if c.ML == nil && c.DrawnML == nil && c.How == "" {
		c.BeforeMM, c.DryBefore = nil, mm == nil
		if mm != nil {
			c.BeforeMM = Known(*mm)
		}
		return
	}
	c.AfterMM, c.DryAfter = nil, mm == nil
	if mm != nil {
		c.AfterMM = Known(*mm)
	}
}

// by adds who recorded something.
func (c *VisitCell) by(name string) {
	if name == "" || slices.Contains(strings.Split(c.By, "\n"), name) {
		return
	}
	if c.By != "" {
		c.By += "\n"
	}
	c.By += name
}

// judge records what the gravities of the visit mean, as the core judged them.
func (v *Visit) judge(round *charge.GravityRound) {
	for i := range v.Cells {
		c := &v.Cells[i]
		if round == nil || c.Gravity == nil || c.AtC == nil || c.Cell > len(round.Cells) {
			continue
		}
		if got := &round.Cells[c.Cell-1]; got.SG25 == electrolyte.GravityAt25(*c.Gravity, *c.AtC) {
			c.Verdict = got.Verdict.String()
		}
	}
}

// round ensures that a reading by hand has a row: the open visit, or a round of
// readings by the same person.
func (f *Follower) round(s Stamp, p *bay.Picture, o *order.Order) {
	if v := f.visit; v != nil && v.Kind == VisitReadings && v.By != o.By {
		f.endVisit(f.readAt, v.By)
	}
	if f.visit == nil && p.Visit.Open {
		f.visit = f.visitOf(s, p)
	}
	if f.visit == nil {
		f.visit = &Visit{Span: f.begins(s, 0), Kind: VisitReadings, By: o.By, BeforeMM: level(p)}
	}
	if f.visit.Kind == VisitReadings {
		f.readAt, f.readNow = s, p.Now
	}
}

// visitOf returns the row of a visit whose opening is not in the record, from what
// the core remembers of it.
func (f *Follower) visitOf(s Stamp, p *bay.Picture) *Visit {
	open := &p.Visit
	v := &Visit{Span: f.begins(s, 0), Kind: visitKindOf(p), By: open.By}
	v.note("The opening of the visit was not seen.")
	if !open.Open {
		return v
	}
	v.Start = s.earlier(p.Now - open.Since)
	if open.QualityKnown {
		v.USPerCM = Known(open.USPerCM)
	}
	for i := range p.Pack.Cells {
		if c := cellVisit(&open.Cells[i], i+1, open.GivenML[i]); c != (VisitCell{Cell: i + 1}) {
			*v.cell(i + 1) = c
			v.TotalML += known(c.ML)
		}
	}
	v.judge(p.Charge.Gravity)
	return v
}

// cellVisit returns what the core remembers of a cell in an open visit.
func cellVisit(c *bay.CellVisit, cell int, givenML float64) VisitCell {
	out := VisitCell{Cell: cell, How: string(c.How), DryBefore: c.WasDry, By: c.By, Gravity: c.Gravity, AtC: c.AtC, BeforeMM: c.BeforeMM}
	if givenML > 0 || c.How != "" {
		out.ML = Known(givenML)
	}
	if c.DrawnML > 0 {
		out.DrawnML = Known(c.DrawnML)
	}
	mm, last := c.ByRod()
	switch touched := out.ML != nil || out.DrawnML != nil; {
	case touched && last:
		out.AfterMM = Known(mm)
	case touched:
		out.DryAfter = c.Dry
	case c.LevelMM != nil:
		out.BeforeMM = Known(*c.LevelMM)
	}
	return out
}

// lateVisit returns the row of a paper sheet that was typed in after its visit. A
// time in the future is a slip: the sheet is then of now.
func (f *Follower) lateVisit(s Stamp, o *order.Order) Visit {
	at, err := time.Parse(time.RFC3339, o.DoneAt)
	if err != nil || s.Trusted && at.After(s.Wall) {
		at = s.Wall
	}
	stamp := Stamp{Wall: at.UTC(), Trusted: true}
	v := Visit{
		Span: Span{Bay: f.bay, Pack: f.pack, Origin: ByPaper, Start: stamp, End: stamp},
		Kind: VisitReadings, By: o.DoneBy, LateAt: s.Wall, LateBy: o.By,
	}
	for i := range o.Cells {
		line := &o.Cells[i]
		if line.Pours() {
			v.Kind = VisitWater
		}
		v.applyLine(line, o.DoneBy)
	}
	v.note(o.Note)
	return v
}

func (f *Follower) endVisit(at Stamp, by string) {
	f.visit.End, f.visit.ClosedBy = at, by
	f.out.Visits = append(f.out.Visits, f.visit.clone())
	f.visit = nil
}

// level returns what the bay's own probe proves now.
func level(p *bay.Picture) Num {
	if !p.Seen.Level.Usable() {
		return nil
	}
	return Known(p.Seen.Level.LowMM)
}

// cell finds the row of a cell, or inserts it in order.
func (v *Visit) cell(n int) *VisitCell {
	i, have := slices.BinarySearchFunc(v.Cells, n, func(c VisitCell, n int) int { return c.Cell - n })
	if !have {
		v.Cells = slices.Insert(v.Cells, i, VisitCell{Cell: n})
	}
	return &v.Cells[i]
}

// note adds a line that is not there yet: a paper sheet repeats the same line at
// each cell.
func (v *Visit) note(text string) {
	if text == "" || slices.Contains(strings.Split(v.Notes, "\n"), text) {
		return
	}
	if v.Notes != "" {
		v.Notes += "\n"
	}
	v.Notes += text
}

// clone returns a copy that is safe to keep while the visit continues.
func (v *Visit) clone() Visit {
	c := *v
	c.Cells = slices.Clone(v.Cells)
	return c
}
