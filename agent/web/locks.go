package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

// lock is one person's lock on the charge, with what the reader may do about it.
type lock struct {
	Text  string
	Whose string // who may remove it, for a reader who may not
	Cut   *cut   // the form that takes it away; nil if the reader may not, or it is the reader's own
}

// cut is the form with which somebody else's lock is removed.
type cut struct {
	Bay, Form, Lock, Of string
	Title, Lead         string
	Confirm             []confirm
}

// locks are those of one kind, as one reader sees them.
type locks struct {
	All    []lock
	Mine   bool // the reader has one
	Remove bool // and may remove it
}

// locksOf returns the locks of one kind: order.LockHold or order.LockVisit.
func (s *server) locksOf(r *http.Request, p *bay.Picture, kind string) locks {
	v, who := s.view(r), s.who(r)
	held, own := p.Holds, order.Unhold
	if kind == order.LockVisit {
		held, own = p.Visit.People, order.VisitLeave
	}
	all := locks{Remove: s.may(r, own)}
	for i, l := range held {
		text := lock{Text: v.Lock(l, p.Now)}
		switch {
		case l.By == who && who != "":
			all.Mine = true
			text.Whose = when(!all.Remove, v.Say("hold.role", s.removers(v)))
		case s.may(r, order.LockRemove):
			text.Cut = &cut{
				Bay: p.Bay, Form: fmt.Sprintf("cut-%s-%d", kind, i+1), Lock: kind, Of: l.By, Confirm: confirms(v, order.LockRemove),
				Title: v.Say("lock.remove."+kind, v.Person(l.By)), Lead: v.Say("lock.remove.lead", v.Person(l.By)),
			}
		default:
			text.Whose = v.Say("hold.whose", v.Person(l.By), s.removers(v))
		}
		all.All = append(all.All, text)
	}
	return all
}

// removers names who may remove somebody else's lock: people where they sign in, else
// the role.
func (s *server) removers(v words.Voice) string {
	var names []string
	if s.gate != nil {
		for _, p := range s.gate.people {
			if p.Right.Allows(order.LockRemove) {
				names = append(names, p.Name)
			}
		}
	}
	if names == nil {
		return v.Say("hold.removers", v.Say("role."+order.LockRemove.Row().Right.String()))
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

// holdForm takes a hold, its end, the removal of a lock or a release from the page and
// returns to the page.
func (s *server) holdForm(w http.ResponseWriter, r *http.Request) {
	s.shortForm(w, r, order.OfCharge, func(b *orderBody) {
		give := func(f *order.Field, to *string, text string) {
			if *to = strings.TrimSpace(text); *to != "" {
				b.given[f.Name] = true
			}
		}
		switch b.action {
		case order.Hold.String(), order.Accept.String():
			give(order.ReasonField, &b.Reason, r.PostForm.Get("reason"))
		case order.LockRemove.String():
			give(order.ReasonField, &b.Reason, r.PostForm.Get("reason"))
			give(order.LockField, &b.Lock, r.PostForm.Get("lock"))
			give(order.OfField, &b.Of, r.PostForm.Get("of"))
			b.given[order.OfField.Name] = true
			b.NobodyAtPack = r.PostForm.Get("ok-nobody") == "yes"
			b.given[order.NobodyField.Name] = b.NobodyAtPack
			b.Note = order.LockRemove.Row().Confirmed()
		}
	})
}

// lockFaults finds what is missing in a form about a lock, at its box.
func (f *sent) lockFaults(body *orderBody) {
	if body.action == order.Accept.String() {
		if f.Action = body.action; body.Reason == "" {
			f.wrong(http.StatusBadRequest, "reason", f.v.Say("hold.reason"), f.v.Say("fail.reason"))
		}
		return
	}
	if body.action != order.LockRemove.String() {
		return
	}
	f.Action = "cut"
	if name := f.Value("form"); strings.HasPrefix(name, "cut-") {
		f.Action = name
	}
	if body.Reason == "" {
		f.wrong(http.StatusBadRequest, "reason", f.v.Say("hold.reason"), f.v.Say("fail.reason"))
	}
	f.confirmed(order.LockRemove)
}

// afterLock returns the page that a form about a lock was on.
func (f *sent) afterLock() string {
	if f.Value("lock") == order.LockVisit {
		return visitURL(f.p.Bay, "")
	}
	return "/bays/" + url.PathEscape(f.p.Bay)
}

// join puts the person's own lock on an open visit.
func (f *sent) join() string {
	f.confirmed(order.VisitJoin)
	f.order(order.Order{Kind: order.VisitJoin, Note: order.VisitJoin.Row().Confirmed()})
	return visitURL(f.p.Bay, "")
}

// leave takes it off while others are still in the visit.
func (f *sent) leave() string {
	f.order(order.Order{Kind: order.VisitLeave})
	return "/bays/" + url.PathEscape(f.p.Bay)
}

// addPeople shows who is in an open visit, and what the reader may do about it.
func (page *visitPage) addPeople(s *server, r *http.Request, p *bay.Picture) {
	v := s.view(r)
	page.Locks = s.locksOf(r, p, order.LockVisit)
	page.Joining = confirms(v, order.VisitJoin)
	page.InVisit = v.Say("visit.nobody")
	if len(p.Visit.People) > 0 {
		page.InVisit = v.Say("visit.people", v.People(p.Visit.People))
	}
	others := slices.DeleteFunc(slices.Clone(p.Visit.People), func(l bay.Lock) bool { return l.By == page.Who })
	page.Outside = !page.Locks.Mine && page.Who != ""
	if n := len(others); n > 1 || n == 1 && page.Who != "" { // who has no name yet may be the one
		page.Others = v.Say("visit.leave.lead", v.People(others))
	}
}
