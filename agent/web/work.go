package web

import (
	"cmp"
	"net/http"
	"slices"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

// workPage is the work list: one line a bay, in order of need.
type workPage struct {
	base
	Summary string
	Notes   []string // why bays of other agents may be missing
	Lines   []workLine
	Quiet   []workLine // nothing to do there: folded
}

// workLine is one bay of it.
type workLine struct {
	ID      string // of the element
	Name    string
	To      string // where its next step is done, "" if there is no way to it
	Urgency words.Urgency
	words.Task
	soon    time.Duration // until it needs somebody, as far as known
	agent   string        // "" for this one
	carryML float64
}

// overview lists the work, the most urgent first.
func (s *server) overview(w http.ResponseWriter, r *http.Request) {
	s.write(w, r, http.StatusOK, "overview", s.newWorkPage(r))
}

func (s *server) newWorkPage(r *http.Request) workPage {
	v := s.view(r)
	page := workPage{base: s.base(r, s.Site+" / "+s.Agent)}
	page.Refresh, page.Live = refreshSeconds, true
	lines := s.otherLines(v)
	for _, p := range s.Pictures() {
		if p != nil {
			lines = append(lines, newWorkLine(p, v, s.may(r, order.VisitOpen)))
		}
	}
	nameApart(lines)
	if s.Others != nil { // the same order at every agent
		slices.SortStableFunc(lines, byName)
	}
	page.Notes = s.otherNotes(v)
	calls, carry := 0, 0.0
	for _, line := range lines {
		if line.Urgency.CallsPerson() {
			calls++
		}
		if line.Urgency != words.OnHold {
			carry += line.carryML
		}
		if line.Urgency == words.Fine {
			page.Quiet = append(page.Quiet, line)
		} else {
			page.Lines = append(page.Lines, line)
		}
	}
	slices.SortStableFunc(page.Lines, func(a, b workLine) int {
		return cmp.Or(cmp.Compare(a.Urgency.Rank, b.Urgency.Rank), cmp.Compare(a.soon, b.soon))
	})
	page.Summary = v.Summary(calls)
	if carry >= 1 {
		page.Summary += " " + v.Say("sum.round", v.Litres(carry))
	}
	return page
}

func newWorkLine(p *bay.Picture, v words.Voice, mayVisit bool) workLine {
	b := v.Brief(p)
	line := newBriefLine(&b, v)
	line.ID, line.Name, line.To = p.Bay, p.Bay, "/bays/"+p.Bay
	if p.Visit.Open {
		line.What += ". " + left(p, v)
	}
	switch {
	case !p.Named() && p.Stage != bay.Vacant:
		line.To, line.What = line.To+"#pack", v.Say("pack.which")
	case mayVisit && (p.Visit.Open || wantsVisit(p)):
		line.To += "/visit"
	}
	return line
}

// newBriefLine is what a line says of any bay, without its name.
func newBriefLine(b *words.Brief, v words.Voice) workLine {
	const far = 1000 * time.Hour
	line := workLine{Urgency: b.Urgency(), Task: v.Task(b), soon: far, carryML: b.CarryML}
	if line.Urgency == words.Runs && b.ReadyIn > 0 && b.Stage == bay.Cooling {
		line.soon = b.ReadyIn
	}
	return line
}
