package logbook

import (
	"slices"
	"strings"
	"time"

	"bayward/agent/bay"
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
		f.orderTaken(s, p, o)
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

func (f *Follower) orderTaken(s Stamp, p *bay.Picture, o *order.Order) {
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
}

// apply applies an order of the visit.
func (v *Visit) apply(o *order.Order) {
	note := o.Note
	for _, line := range o.Entries() {
		v.applyLine(&line)
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

// applyLine applies what was done at one cell.
func (v *Visit) applyLine(line *order.CellEntry) {
	c := v.cell(line.Cell)
	if line.ML != nil {
		c.ML = Known(known(c.ML) + *line.ML)
		v.TotalML += *line.ML
	}
	if line.LevelMM != nil {
		if c.ML == nil {
			c.BeforeMM = Known(*line.LevelMM)
		} else {
			c.AfterMM = Known(*line.LevelMM)
		}
	}
	if line.Gravity != nil {
		c.Gravity, c.AtC = Known(*line.Gravity), Known(*line.AtC)
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
		c := &open.Cells[i]
		if c.Done {
			v.cell(i + 1).ML = Known(open.GivenML[i])
			v.TotalML += open.GivenML[i]
		}
		if c.LevelMM != nil && !c.Done {
			v.cell(i + 1).BeforeMM = Known(*c.LevelMM)
		} else if mm, ok := c.ByRod(); ok {
			v.cell(i + 1).AfterMM = Known(mm)
		}
	}
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
