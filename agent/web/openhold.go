package web

import (
	"math"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"bayward/agent/order"
)

// notProven follows the name of a person who did not sign in, as in orders over the
// broker: nobody who does sign in has that name, so only somebody who may remove the
// locks of others can remove this one.
const notProven = " (not proven)"

// Bounds on holds of one bay without a sign-in: each is written to the record.
const (
	openHolds     = 6
	openHoldEvery = 10 * time.Second
)

// openHolding bounds the holds that people give without signing in.
type openHolding struct {
	mu   sync.Mutex         // guards what follows
	left map[string]float64 // holds that a bay takes at once
	last map[string]time.Time
}

// take returns how long the bay takes none, 0 when it takes this one.
func (o *openHolding) take(bayName string, now time.Time) time.Duration {
	o.mu.Lock()
	defer o.mu.Unlock()
	left, seen := o.left[bayName]
	if left += float64(now.Sub(o.last[bayName])) / float64(openHoldEvery); !seen {
		left = openHolds
	}
	left = min(left, openHolds)
	o.last[bayName] = now
	o.left[bayName] = left - math.Floor(min(left, 1))
	if left < 1 {
		return time.Duration((1 - left) * float64(openHoldEvery))
	}
	return 0
}

// mayHoldOpen reports whether the caller may hold without a sign-in. Where people
// sign in, a stranger's guesses can make them wait, so a hold, which can only block a
// charge, does not depend on it. It is taken from the local networks: a page that is
// open to the world must not let the world stop a yard.
func (s *server) mayHoldOpen(r *http.Request) bool {
	from := s.caller(r)
	return s.gate != nil && isLocal(from) && !among(from, s.Proxies)
}

// openHoldPage takes a hold from anybody in the yard.
type openHoldPage struct {
	base
	Bays []heldBay
	Done string // the bay that was put on hold
}

type heldBay struct {
	Name   string
	Chosen bool
	Locks  []string
}

func (s *server) newOpenHoldPage(r *http.Request, chosen string) openHoldPage {
	v := s.view(r)
	page := openHoldPage{base: s.base(r, v.Say("open.title"))}
	page.Here = "/hold"
	for _, p := range s.Pictures() {
		if p == nil {
			continue
		}
		b := heldBay{Name: p.Bay, Chosen: p.Bay == chosen}
		for _, l := range p.Holds {
			b.Locks = append(b.Locks, v.Lock(l, p.Now))
		}
		page.Bays = append(page.Bays, b)
	}
	return page
}

func (s *server) openHold(w http.ResponseWriter, r *http.Request) {
	if !s.mayHoldOpen(r) {
		s.noOpenHold(w, r)
		return
	}
	chosen := r.URL.Query().Get("bay")
	page := s.newOpenHoldPage(r, chosen)
	for _, b := range page.Bays {
		if b.Chosen && len(b.Locks) > 0 {
			page.Done = s.view(r).Say("open.done", b.Name)
		}
	}
	s.write(w, r, http.StatusOK, "openhold", page)
}

func (s *server) noOpenHold(w http.ResponseWriter, r *http.Request) {
	if s.gate == nil {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	s.failAt(w, r, *failed(http.StatusForbidden, "", s.view(r).Say("open.far")), "/sign-in")
}

func (s *server) openHoldForm(w http.ResponseWriter, r *http.Request) {
	if !s.mayHoldOpen(r) {
		s.noOpenHold(w, r)
		return
	}
	if wrong := parseForm(w, r); wrong != nil {
		s.fail(w, r, *wrong)
		return
	}
	f := &sent{server: s, r: r, v: s.view(r), form: form{Action: "open", ID: r.PostForm.Get("id"), values: r.PostForm}}
	if f.ID == "" {
		f.ID = newID()
	}
	f.holdOpen()
	if f.fine() {
		f.openHeld(w)
		return
	}
	page := s.newOpenHoldPage(r, f.Value("bay"))
	page.Form = f.form
	s.write(w, r, f.status, "openhold", page)
}

// openHeld shows what was done.
func (f *sent) openHeld(w http.ResponseWriter) {
	to := "/hold?" + url.Values{"bay": {f.p.Bay}}.Encode()
	if f.InForce != "" {
		f.inForce(w, f.r, f.InForce, to)
		return
	}
	http.Redirect(w, f.r, to, http.StatusSeeOther)
}

// holdOpen gives the order, with the name as its person wrote it.
func (f *sent) holdOpen() {
	name, reason := strings.TrimSpace(f.Value("by")), strings.TrimSpace(f.Value("reason"))
	for _, p := range f.Pictures() {
		if p != nil && p.Bay == f.Value("bay") {
			f.p = p
		}
	}
	if f.p == nil {
		f.wrong(http.StatusBadRequest, "bay", f.v.Say("open.bay"), f.v.Say("open.choose"))
	}
	if !order.Printable(name, order.MaxNameRunes-len(notProven)) {
		f.wrong(http.StatusBadRequest, "by", f.v.Say("who.label"), f.v.Say("fail.name", quoted(name)))
	}
	body := orderBody{Order: order.Order{ID: f.ID, By: name + notProven, Reason: reason}, action: order.Hold.String(), given: map[string]bool{}}
	body.given[order.ReasonField.Name] = reason != ""
	if !f.fine() || f.recent.done(f.ID) {
		return
	}
	o, wrong := body.judged(order.OfCharge, f.p.Pack.Cells)
	if wrong == nil {
		if wait := f.openHolding.take(f.p.Bay, f.Now()); wait > 0 {
			f.bad(http.StatusTooManyRequests, "open.busy", f.v.Span(wait+time.Second))
			return
		}
		if wrong = f.give(o); wrong == nil {
			f.recent.add(o.ID, f.InForce == "")
		}
	}
	f.refused(wrong)
}
