package logbook

import (
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// Follower turns the pictures and events of one bay, tick by tick, into rows. It
// has no clock and no file: the same pictures and events give the same rows.
//
// A tick with events, or with a changed row, gives rows at once; otherwise the open
// rows come with the thinned readings. So the file's copy of an open row is at most
// some minutes old, and a tick with an event is stored whole.
type Follower struct {
	bay      string
	pack     string
	began    bool
	start    time.Duration // of the first picture
	now      time.Duration // of the last picture
	charge   *chargeRow
	visit    *Visit
	readAt   Stamp         // of the last reading by hand of a round without a visit
	readNow  time.Duration // the same, on the bay's clock
	findings [interlock.NumCodes]*findingRow
	refusal  *Refusal
	unseen   bool // the refusal is from the file, and its pack was not seen since
	thin     thinner
	out      Rows
}

// NewFollower returns a follower that continues the open rows of the file; see
// Reader.OpenRows.
func NewFollower(bayName string, open Rows) *Follower {
	f := &Follower{bay: bayName}
	for i := range open.Charges {
		f.charge = &chargeRow{Charge: open.Charges[i], resumed: true}
	}
	for i := range open.Visits {
		f.visit = &open.Visits[i]
	}
	for i := range open.Findings {
		if c := interlock.Lookup(open.Findings[i].Code); c != interlock.NoCode {
			f.findings[c] = &findingRow{Finding: open.Findings[i], resumed: true, empty: true}
			continue
		}
		f.out.Findings = append(f.out.Findings, open.Findings[i]) // from a program that knew more: see first
	}
	for i := range open.Refusals {
		f.refusal, f.unseen = &open.Refusals[i], true
	}
	return f
}

// longest is the longest time that one tick may account for; a longer gap is
// unknown.
const longest = 15 * time.Minute

// Take processes one tick and returns the resulting rows, which then belong to the
// caller.
func (f *Follower) Take(s Stamp, p *bay.Picture, events []bay.Event) Rows {
	dt := p.Now - f.now
	if !f.began {
		f.start = p.Now
	}
	if !f.began || dt < 0 || dt > longest {
		dt = 0
	}
	f.first(s, p)
	f.began, f.now = true, p.Now
	f.followVisit(s, p, events)
	f.followCharge(s, p, dt)
	f.followFindings(s, p)
	f.followRefusal(s, p)
	full := f.thin.take(s, p, dt, len(events) > 0)
	f.out.Series = append(f.out.Series, full...)
	if len(events) > 0 || len(full) > 0 {
		f.showOpen()
	}
	return f.give()
}

// Flush returns the open rows, at the end of the program.
func (f *Follower) Flush() Rows {
	f.out.Series = append(f.out.Series, f.thin.flush()...)
	f.showOpen()
	return f.give()
}

// first ends what another pack, or a program that knew other findings, left open.
func (f *Follower) first(s Stamp, p *bay.Picture) {
	for i := range f.out.Findings {
		f.out.Findings[i].End = s
	}
	f.pack = packOf(p)
	if c := f.charge; c != nil && c.Pack != f.pack {
		f.leaveCharge(s, p)
	}
	if v := f.visit; v != nil && v.Pack != f.pack {
		v.note("Another pack is in the bay now; the end of the visit was not seen.")
		f.endVisit(s, "")
	}
	f.leaveRefusal(s, p)
	f.leaveFindings(s, p)
}

// unknown reports whether the pack in the bay is unknown. Rows of a pack from
// before a restart wait for that long: its leaving was not seen.
func (f *Follower) unknown(p *bay.Picture) bool { return f.pack == "" && p.Stage != bay.Vacant }

// packOf returns the name of the pack in the bay, "" when it is unknown.
func packOf(p *bay.Picture) string {
	if p.Pack == nil {
		return ""
	}
	return p.Pack.Name
}

// showOpen adds the open rows.
func (f *Follower) showOpen() {
	if f.charge != nil {
		f.out.Charges = append(f.out.Charges, f.charge.Charge)
	}
	if f.visit != nil {
		f.out.Visits = append(f.out.Visits, f.visit.clone())
	}
}

func (f *Follower) give() Rows {
	out := f.out
	f.out = Rows{}
	return out
}

// begins returns the span of a row that begins that long before s.
func (f *Follower) begins(s Stamp, ago time.Duration) Span {
	return Span{Bay: f.bay, Pack: f.pack, Origin: ByAgent, Start: s.earlier(ago)}
}

// earlier returns the stamp of a moment before this one.
func (s Stamp) earlier(by time.Duration) Stamp {
	by = max(by, 0)
	s.Wall, s.Mono = s.Wall.Add(-by), s.Mono-by
	return s
}
