package web

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

// sent is a form that a person has sent.
type sent struct {
	*server
	form
	r    *http.Request
	v    words.Voice
	p    *bay.Picture
	by   string
	cell int // that the form is about; 0 for none
	// round means that the cautions of a round were confirmed with it.
	round bool
}

// received returns a form that was sent for a bay, with an ID for its order. If it
// cannot be read, received answers and returns nil.
func (s *server) received(w http.ResponseWriter, r *http.Request) *sent {
	p, wrong := s.find(r)
	if wrong == nil {
		wrong = parseForm(w, r)
	}
	if wrong != nil {
		s.fail(w, r, *wrong)
		return nil
	}
	f := &sent{server: s, r: r, v: s.view(r), p: p, form: form{Action: r.PostForm.Get("action"), ID: r.PostForm.Get("id"), values: r.PostForm}}
	if f.ID != "" && f.fromGrid() { // one form for many entries, which a browser that goes back shows again
		f.ID += "-" + strings.Join([]string{f.Value("cell"), f.Value("level"), f.Value("after")}, "-")
	}
	if f.ID == "" {
		f.ID = newID()
		f.values.Set("id", f.ID)
	}
	return f
}

// visitForm takes one step of a visit and leads to the next. If something is wrong,
// the step is shown again with the form as it was filled in.
func (s *server) visitForm(w http.ResponseWriter, r *http.Request) {
	f := s.received(w, r)
	if f == nil {
		return
	}
	to := f.take()
	if f.fine() {
		if f.round {
			f.beginRound(w)
		}
		f.done(w, to)
		return
	}
	f.again(w)
}

// done leads on from a form that was accepted, by a page that says so when its order
// is not on record yet.
func (f *sent) done(w http.ResponseWriter, to string) {
	if f.gate == nil && (!f.fromGrid() || rememberedName(f.r) == "") { // an entry that waited may be another person's
		setCookie(w, f.r, nameCookie, f.by, sessionFor)
	}
	if f.InForce != "" {
		f.inForce(w, f.r, f.InForce, to)
		return
	}
	http.Redirect(w, f.r, to, http.StatusSeeOther) //nolint:gosec // G710: a form's next address begins with its bay's own path
}

// again shows the page of the form again.
func (f *sent) again(w http.ResponseWriter) {
	page := f.newVisitPage(f.r, f.now())
	page.Form, page.Step = f.form, f.step()
	if slices.ContainsFunc(page.Round, func(c confirm) bool { return f.Fault("ok-"+c.Name) != "" }) {
		page.RoundAt = "" // another person's
	}
	page.Here = visitURL(f.p.Bay, when(f.cell > 0, fmt.Sprintf("cell=%d", f.cell)))
	if f.cell > 0 {
		page.Cell = f.newCellStep(f.r, f.now(), f.cell)
	}
	f.write(w, f.r, f.status, "visit", page)
}

// now returns the bay as it is after the form's orders.
func (f *sent) now() *bay.Picture {
	if p, missing := f.find(f.r); missing == nil {
		return p
	}
	return f.p
}

// step returns the step of a visit that the form is on.
func (f *sent) step() string {
	if f.aboutCell() && f.cell > 0 {
		return map[bool]string{true: "correct", false: "cell"}[strings.HasPrefix(f.Action, "correct-")]
	}
	switch f.Action {
	case "quality":
		return "water"
	case "open", "sheet", "close", "late":
		return f.Action
	case "leave":
		return "close"
	}
	if f.p.Visit.Open {
		return "cells"
	}
	return "open"
}

// take carries out the form and returns the address that follows.
func (f *sent) take() (to string) {
	f.findCell()
	if !f.mayGive(order.VisitOpen) || !f.signed() || !f.fine() {
		return ""
	}
	switch {
	case f.Action == "open":
		return f.open()
	case f.Action == "late":
		return f.late()
	case !f.p.Visit.Open && !f.recent.has(f.ID):
		f.bad(http.StatusConflict, "fail.closed")
		return ""
	}
	f.ofThisPerson()
	if f.fine() {
		f.ofThisVisit()
	}
	if !f.fine() {
		return ""
	}
	if field, ok := strings.CutPrefix(f.Action, "correct-"); ok {
		return f.correct(field)
	}
	switch f.Action {
	case "quality":
		return f.quality()
	case "before":
		return f.before()
	case "cell":
		return f.water()
	case "sheet":
		return f.sheet()
	case "close":
		return f.close()
	case "join":
		return f.join()
	case "leave":
		return f.leave()
	}
	f.bad(http.StatusBadRequest, "fail.action")
	return ""
}

// bad notes a fault that is in no box.
func (f *sent) bad(status int, key string, args ...any) {
	f.wrong(status, "", "", f.v.Say(key, args...))
}

// mayGive checks the person's right to an order.
func (f *sent) mayGive(kind order.Kind) bool {
	switch {
	case f.may(f.r, kind):
		return true
	case f.gate == nil:
		f.bad(http.StatusForbidden, "hold.reading")
	default:
		f.bad(http.StatusForbidden, "fail.right", person(f.r).Name, f.v.Say("role."+kind.Row().Right.String()))
	}
	return false
}

// signed sets the name of the person.
func (f *sent) signed() bool {
	f.by = f.nameOf(f.r, f.Value("by"))
	if order.Printable(f.by, order.MaxNameRunes) {
		return true
	}
	f.wrong(http.StatusBadRequest, "by", f.v.Say("who.label"), f.v.Say("fail.name", quoted(f.by)))
	return false
}

// confirmed requires that every box was ticked.
func (f *sent) confirmed(kind order.Kind) { f.confirmedPoints(kind.Row().Confirm) }

func (f *sent) confirmedPoints(points []string) {
	for _, point := range points {
		if name := "ok-" + point; f.Value(name) != "yes" {
			f.wrong(http.StatusBadRequest, name, f.v.Say("fail.confirm"), f.v.Say("confirm."+point))
		}
	}
}

func (f *sent) open() string {
	note := f.confirmedOpening()
	if f.fine() && f.p.Visit.Open && !f.recent.has(f.ID) {
		f.bad(http.StatusConflict, "fail.other", f.p.Visit.By)
	}
	f.order(order.Order{Kind: order.VisitOpen, Note: note})
	return visitURL(f.p.Bay, "")
}

func (f *sent) quality() string {
	us, given := f.number("us", f.v.Say("quality.value"), order.USPerCMField)
	if f.Value("unit") == "ppm" {
		us = min(us*usPerPPM, order.USPerCMField.High)
	}
	next, o := onward(f.p, 0), order.Order{Kind: order.Quality, USPerCM: us, Unmeasured: !given}
	if kind := f.Value("kind"); slices.Contains(order.WaterField.Words, kind) {
		o.Water = kind
	}
	if !given && o.Water == "" {
		return next
	}
	if us > worstUSPerCM { // shown before the first cell
		next = visitURL(f.p.Bay, "step=water")
	}
	f.order(o)
	return next
}

func (f *sent) close() string {
	f.confirmed(order.VisitClose)
	f.order(order.Order{Kind: order.VisitClose, Note: order.VisitClose.Row().Confirmed()})
	return visitURL(f.p.Bay, "step=done")
}

// number reads a box as a person writes it. given is false for an empty box and for
// one with a fault, which is noted.
func (f *sent) number(name, label string, of *order.Field) (x float64, given bool) {
	text := strings.TrimSpace(f.Value(name))
	if text == "" {
		return 0, false
	}
	x, ok := typed(f.v, of, text)
	switch {
	case ok:
	case of == order.LevelField && strings.HasPrefix(text, "-"):
		f.wrong(http.StatusBadRequest, name, label, f.v.Say("fail.below"))
	default:
		in := f.v.Typed(of.Unit)
		low, high := strconv.FormatFloat(math.Ceil(100*in.Of(of.Low))/100, 'f', -1, 64), strconv.FormatFloat(math.Floor(100*in.Of(of.High))/100, 'f', -1, 64)
		f.wrong(http.StatusBadRequest, name, label, f.v.Say("fail.number", quoted(text), low, strings.TrimSpace(high+" "+in.Symbol)))
	}
	return x, ok
}

// amount reads a box; nil for an empty one, and for one with a fault.
func (f *sent) amount(name, label string, of *order.Field) *float64 {
	if x, given := f.number(name, label, of); given {
		return new(x)
	}
	return nil
}

// order submits one order of the form, unless something is wrong already. An order
// that was already accepted from this form counts as done: its answer was lost on
// the way.
func (f *sent) order(o order.Order) {
	o.ID, o.By = f.ID, f.by
	switch {
	case !f.fine():
		return
	case len(o.ID) > order.MaxIDBytes || !order.Printable(o.ID, order.MaxIDBytes):
		f.bad(http.StatusBadRequest, "fail.action")
		return
	case f.recent.done(o.ID):
		return
	}
	wrong := f.give(o)
	if wrong == nil {
		f.recent.add(o.ID, f.InForce == "")
	}
	f.refused(wrong)
}

// give submits an order, and notes when it is in force but not on record.
func (f *sent) give(o order.Order) *problem {
	done, wrong := f.submit(f.r.Context(), f.p.Bay, o)
	if wrong == nil && !done.onRecord {
		f.InForce = done.text(f.v)
	}
	return wrong
}

// refused notes why an order was not done. One with an ID that was taken before was
// done: its answer was lost on the way.
func (f *sent) refused(wrong *problem) {
	switch {
	case wrong == nil || wrong.why != nil && wrong.why.Code == order.Repeated:
	case wrong.code == "no-answer":
		f.Unsure = true
		f.bad(wrong.status, "fail.noanswer")
	case wrong.why == nil || wrong.why.Cell == 0:
		f.wrong(wrong.status, "", "", wrong.said(f.v))
	default:
		f.cellsRefused(wrong)
	}
}
