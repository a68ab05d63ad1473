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
	cell int       // that the form is about; 0 for none
	sure *cellStep // asks for confirmation instead of recording
}

// visitForm takes one step of a visit and leads to the next. If something is wrong,
// the step is shown again with the form as it was filled in.
func (s *server) visitForm(w http.ResponseWriter, r *http.Request) {
	p, wrong := s.find(r)
	if wrong == nil {
		wrong = parseForm(w, r)
	}
	if wrong != nil {
		s.fail(w, r, *wrong)
		return
	}
	f := &sent{server: s, r: r, v: s.view(r), p: p, form: form{Action: r.PostForm.Get("action"), ID: r.PostForm.Get("id"), values: r.PostForm}}
	if f.ID == "" {
		f.ID = newID()
	}
	to := f.take()
	if f.fine() && f.sure == nil {
		f.done(w, to)
		return
	}
	f.again(w)
}

// done leads on from a form that was accepted.
func (f *sent) done(w http.ResponseWriter, to string) {
	if f.gate == nil {
		setCookie(w, f.r, nameCookie, f.by, sessionFor)
	}
	http.Redirect(w, f.r, to, http.StatusSeeOther)
}

// again shows the page of the form again.
func (f *sent) again(w http.ResponseWriter) {
	page := f.newVisitPage(f.r, f.now())
	page.Form, page.Step = f.form, f.step()
	page.Here = visitURL(f.p.Bay, when(page.Step == "cell", fmt.Sprintf("cell=%d", f.cell)))
	if page.Step == "cell" {
		page.Cell = f.newCellStep(f.r, f.now(), f.cell)
	}
	status := f.status
	if f.sure != nil {
		page.Step, page.Cell, status = "sure", f.sure, http.StatusConflict
	}
	f.write(w, f.r, status, "visit", page)
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
	switch f.Action {
	case "quality":
		return "water"
	case "before", "cell", "gravity":
		if f.cell > 0 {
			return "cell"
		}
	case "open", "sheet", "close":
		return f.Action
	}
	if f.p.Visit.Open {
		return "cells"
	}
	return "open"
}

// take carries out the form and returns the address that follows.
func (f *sent) take() (to string) {
	f.findCell()
	if !f.mayGive(order.VisitOpen) || !f.signed() {
		return ""
	}
	switch {
	case f.Action == "open":
		return f.open()
	case !f.p.Visit.Open && !f.recent.has(f.ID):
		f.bad(http.StatusConflict, "fail.closed")
		return ""
	}
	switch f.Action {
	case "quality":
		return f.quality()
	case "before":
		return f.before()
	case "cell":
		return f.water()
	case "gravity":
		return f.gravity()
	case "sheet":
		return f.sheet()
	case "close":
		return f.close()
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
func (f *sent) confirmed(kind order.Kind) {
	for _, point := range kind.Row().Confirm {
		if name := "ok-" + point.Key; f.Value(name) != "yes" {
			f.wrong(http.StatusBadRequest, name, f.v.Say("fail.confirm"), f.v.Say("confirm."+point.Key))
		}
	}
}

func (f *sent) open() string {
	f.confirmed(order.VisitOpen)
	if f.fine() && f.p.Visit.Open && !f.recent.has(f.ID) {
		f.bad(http.StatusConflict, "fail.other", f.p.Visit.By)
	}
	f.order("", order.Order{Kind: order.VisitOpen, Note: order.VisitOpen.Row().Confirmed()})
	return visitURL(f.p.Bay, "step=water")
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
	f.order("", o)
	return next
}

// findCell sets the cell of a form about one.
func (f *sent) findCell() {
	if !slices.Contains([]string{"before", "cell", "gravity"}, f.Action) {
		return
	}
	n, err := strconv.Atoi(strings.TrimSpace(f.Value("cell")))
	if err != nil || n < 1 || n > f.p.Pack.Cells {
		f.bad(http.StatusBadRequest, "fail.cell", quoted(f.Value("cell")), f.p.Pack.Cells)
		return
	}
	f.cell = n
}

// before takes a level reading and returns with a new proposal.
func (f *sent) before() string {
	mm, given := f.number("level", f.v.Say("cell.before"), order.LevelField)
	if given {
		f.order("", order.Order{Kind: order.Level, Cell: f.cell, LevelMM: mm})
	}
	return visitURL(f.p.Bay, fmt.Sprintf("cell=%d", f.cell))
}

// water records the poured amount and, if measured, the level reached.
func (f *sent) water() string {
	ml, _ := f.number("ml", f.v.Say("cell.ml"), order.MLField)
	after, measured := f.number("after", f.v.Say("cell.after"), order.LevelField)
	if f.fine() {
		f.meanwhile()
	}
	if !f.fine() {
		return ""
	}
	if plan := planOf(f.p, f.v, f.cell-1); ml > 0 && plan.LevelKnown && ml >= plan.RoomML && f.Value("sure") != "yes" {
		f.ask(ml)
		return ""
	}
	f.order("-fill", order.Order{Kind: order.Fill, Cell: f.cell, ML: ml})
	if measured {
		f.order("-after", order.Order{Kind: order.Level, Cell: f.cell, LevelMM: after})
	}
	return onward(f.p, f.cell)
}

// meanwhile finds water that another person recorded after the form was shown.
func (f *sent) meanwhile() {
	seen := f.Value("given")
	now := strconv.FormatFloat(f.p.Visit.GivenML[f.cell-1], 'f', -1, 64)
	if seen != "" && seen != now && !f.recent.has(f.ID+"-fill") {
		f.bad(http.StatusConflict, "fail.meanwhile", f.cell)
	}
}

func (f *sent) ask(ml float64) {
	f.sure = f.newCellStep(f.r, f.p, f.cell)
	f.sure.Sure = f.v.Say("cell.sure", f.v.Volume(ml), f.cell)
}

func (f *sent) gravity() string {
	sg, hasSG := f.number("gravity", f.v.Say("gravity.value"), order.GravityField)
	atC, hasAt := f.number("at", f.v.Say("gravity.at"), order.AtCField)
	if f.fine() && !hasSG {
		f.wrong(http.StatusBadRequest, "gravity", f.v.Say("gravity.value"), f.v.Say("fail.gravity"))
	}
	if f.fine() && !hasAt {
		f.wrong(http.StatusBadRequest, "at", f.v.Say("gravity.at"), f.v.Say("fail.pair"))
	}
	f.order("", order.Order{Kind: order.Gravity, Cell: f.cell, Gravity: sg, AtC: atC})
	return visitURL(f.p.Bay, fmt.Sprintf("at=%.1f&cell=%d&gravity=%.3f", atC, f.cell, sg))
}

func (f *sent) close() string {
	f.confirmed(order.VisitClose)
	f.order("", order.Order{Kind: order.VisitClose, Note: order.VisitClose.Row().Confirmed()})
	return visitURL(f.p.Bay, "step=done")
}

// line names a box of the sheet.
func line(name string, cell int) string { return name + "-" + strconv.Itoa(cell) }

// sheet enters a whole paper sheet. It orders nothing unless every entry is valid.
func (f *sent) sheet() string {
	var orders []order.Order
	for n := 1; n <= f.p.Pack.Cells; n++ {
		orders = append(orders, f.sheetLine(n)...)
	}
	for n := f.p.Pack.Cells + 1; n <= int(order.CellField.High); n++ {
		if f.Value(line("ml", n))+f.Value(line("after", n)) != "" {
			f.bad(http.StatusBadRequest, "fail.cell", strconv.Itoa(n), f.p.Pack.Cells)
		}
	}
	if f.fine() && len(orders) == 0 {
		f.bad(http.StatusBadRequest, "fail.empty")
	}
	for _, o := range orders {
		f.order(fmt.Sprintf("-%d-%s", o.Cell, o.Kind), o)
	}
	return visitURL(f.p.Bay, "step=close")
}

func (f *sent) sheetLine(n int) (orders []order.Order) {
	cell := f.v.Say("water.cell", n) + ", "
	ml, poured := f.number(line("ml", n), cell+f.v.Say("cell.ml"), order.MLField)
	after, measured := f.number(line("after", n), cell+f.v.Say("sheet.after"), order.LevelField)
	if poured {
		orders = append(orders, order.Order{Kind: order.Fill, Cell: n, ML: ml, Note: "Typed in from paper."})
	}
	if measured {
		orders = append(orders, order.Order{Kind: order.Level, Cell: n, LevelMM: after, Note: "Typed in from paper."})
	}
	return orders
}

// number reads a box as a person writes it. given is false for an empty box and for
// one with a fault, which is noted.
func (f *sent) number(name, label string, of *order.Field) (x float64, given bool) {
	text := strings.TrimSpace(f.Value(name))
	if text == "" {
		return 0, false
	}
	x, ok := typed(f.v, of, text)
	if !ok {
		in := f.v.Typed(of.Unit)
		low, high := strconv.FormatFloat(math.Ceil(100*in.Of(of.Low))/100, 'f', -1, 64), strconv.FormatFloat(math.Floor(100*in.Of(of.High))/100, 'f', -1, 64)
		f.wrong(http.StatusBadRequest, name, label, f.v.Say("fail.number", quoted(text), low, strings.TrimSpace(high+" "+in.Symbol)))
	}
	return x, ok
}

// order submits one order of the form, unless something is wrong already. An order
// that was already accepted from this form counts as done: its answer was lost on
// the way.
func (f *sent) order(suffix string, o order.Order) {
	o.ID, o.By = f.ID+suffix, f.by
	switch {
	case !f.fine():
		return
	case len(o.ID) > order.MaxIDBytes || !order.Printable(o.ID, order.MaxIDBytes):
		f.bad(http.StatusBadRequest, "fail.action")
		return
	case f.recent.has(o.ID):
		return
	}
	_, wrong := f.submit(f.r.Context(), f.p.Bay, o)
	if wrong == nil {
		f.recent.add(o.ID)
	}
	f.refused(wrong)
}

// refused notes why an order was not done.
func (f *sent) refused(wrong *problem) {
	switch {
	case wrong == nil:
	case wrong.code == "no-answer":
		f.Unsure = true
		f.bad(wrong.status, "fail.noanswer")
	default:
		f.wrong(wrong.status, "", "", wrong.said(f.v))
	}
}
