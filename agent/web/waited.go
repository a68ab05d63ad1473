package web

import (
	"math"
	"net/http"
	"strconv"
	"time"

	"bayward/agent/words"
)

const (
	// noteWaitAfter is the wait from which the record mentions it.
	noteWaitAfter = time.Minute
	// clockSlack is what an entry may take on its way: it is in hand for ten seconds, and
	// no visit is closed and opened in that time.
	clockSlack = 30 * time.Second
)

// waited returns how long an entry waited on a phone before it was sent, by the clock of
// the phone; negative where that clock was set back meanwhile.
func (f *sent) waited() time.Duration {
	s, err := strconv.ParseFloat(f.Value("waited"), 64)
	const most = 7 * 24 * 3600
	if err != nil || math.IsNaN(s) {
		return 0
	}
	return time.Duration(max(-most, min(s, most)) * float64(time.Second))
}

// visitFor returns how long the visit has been open.
func (f *sent) visitFor() time.Duration { return f.p.Now - f.p.Visit.Since }

// ofThisVisit refuses an entry of another visit: it waited on a phone while its own was
// closed. The visit's ID decides that, since a phone's clock may be wrong; an entry
// without one is judged by how long it waited.
func (f *sent) ofThisVisit() {
	if f.recent.has(f.ID) {
		return
	}
	other := f.waited() > f.visitFor()+clockSlack
	if id := f.Value("visit"); id != "" && f.p.Visit.ID != "" {
		other = id != f.p.Visit.ID
	}
	if other {
		f.bad(http.StatusConflict, "fail.othervisit")
	}
}

// ofThisPerson refuses an entry that waited on a phone on which somebody else has signed
// in since: nobody signs for another.
func (f *sent) ofThisPerson() {
	if by := f.Value("by"); f.gate != nil && f.fromGrid() && by != "" && by != f.by {
		f.bad(http.StatusUnauthorized, "fail.otherperson", quoted(by))
	}
}

// note returns the remark of an entry from paper, or of one that waited on a phone. The
// time that the phone gives is believed only between the opening of the visit and now.
func (f *sent) note() string {
	v, w := words.EnglishSI(), f.waited()
	switch {
	case w < -clockSlack, w > f.visitFor()+clockSlack:
		return v.Say("grid.clock")
	case w > noteWaitAfter:
		return v.Say("grid.waited", f.clock().Add(-w).Format("2006-01-02 15:04"), v.Span(w))
	}
	return when(f.Action == "sheet", "Typed in from paper.")
}
