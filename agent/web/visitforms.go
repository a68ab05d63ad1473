package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

// filled is a submitted form of a visit.
type filled struct {
	*server
	r    *http.Request
	v    words.Voice
	p    *bay.Picture
	form url.Values
	by   string
	sure *cellStep // asks for confirmation instead of recording
}

// visitForm takes one step of a visit and redirects to the next.
func (s *server) visitForm(w http.ResponseWriter, r *http.Request) {
	p, wrong := s.find(r)
	if wrong == nil {
		wrong = parseForm(w, r)
	}
	if wrong != nil {
		s.fail(w, r, *wrong)
		return
	}
	f := &filled{server: s, r: r, v: s.view(r), p: p, form: r.PostForm}
	to, wrong := f.take()
	switch {
	case wrong != nil:
		s.failAt(w, r, *wrong, f.back())
	case f.sure != nil:
		page := s.newVisitPage(r, p)
		page.Step, page.Cell, page.OrderID = "sure", f.sure, f.form.Get("id")
		s.write(w, r, http.StatusConflict, "visit", page)
	default:
		if s.gate == nil {
			setCookie(w, r, nameCookie, f.by, sessionFor)
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
	}
}

// back returns the address of the page that the form was on.
func (f *filled) back() string {
	if n := f.form.Get("cell"); n != "" {
		return visitURL(f.p.Bay, url.Values{"cell": {n}}.Encode())
	}
	switch a := f.form.Get("action"); a {
	case "close", "sheet":
		return visitURL(f.p.Bay, "step="+a)
	case "quality":
		return visitURL(f.p.Bay, "step=water")
	}
	return visitURL(f.p.Bay, "")
}

func (f *filled) take() (to string, wrong *problem) {
	if wrong = f.mayVisit(); wrong != nil {
		return "", wrong
	}
	if f.form.Get("id") == "" {
		f.form.Set("id", newID())
	}
	action := f.form.Get("action")
	if action == "open" {
		return f.open()
	}
	if !f.p.Visit.Open {
		return "", f.bad(http.StatusConflict, "fail.closed")
	}
	switch action {
	case "quality":
		return f.quality()
	case "before":
		return f.before()
	case "cell":
		return f.cell()
	case "gravity":
		return f.gravity()
	case "sheet":
		return f.sheet()
	case "close":
		return f.close()
	}
	return "", f.bad(http.StatusBadRequest, "fail.action")
}

func (f *filled) bad(status int, key string, args ...any) *problem {
	return failed(status, strings.ReplaceAll(key, ".", "-"), f.v.Say(key, args...))
}

// mayVisit checks the person's right and sets the name.
func (f *filled) mayVisit() *problem {
	if !f.may(f.r, order.VisitOpen) {
		if f.gate == nil {
			return failed(http.StatusForbidden, "not-writable", f.v.Say("hold.reading"))
		}
		return f.bad(http.StatusForbidden, "fail.right", person(f.r).Name, f.v.Say("role.visit"))
	}
	f.by = f.nameOf(f.r, f.form.Get("by"))
	if !order.Printable(f.by, order.MaxNameRunes) {
		return f.bad(http.StatusBadRequest, "fail.name", quoted(f.by))
	}
	return nil
}

// confirmed requires that every box was ticked.
func (f *filled) confirmed(kind order.Kind) *problem {
	for _, point := range kind.Row().Confirm {
		if f.form.Get("ok-"+point.Key) != "yes" {
			return f.bad(http.StatusBadRequest, "fail.confirm")
		}
	}
	return nil
}

func (f *filled) open() (string, *problem) {
	if wrong := f.confirmed(order.VisitOpen); wrong != nil {
		return "", wrong
	}
	if f.p.Visit.Open && !f.recent.has(f.form.Get("id")) {
		return "", f.bad(http.StatusConflict, "fail.other", f.p.Visit.By)
	}
	wrong := f.order("", order.Order{Kind: order.VisitOpen, Note: order.VisitOpen.Row().Confirmed()})
	return visitURL(f.p.Bay, "step=water"), wrong
}

func (f *filled) quality() (string, *problem) {
	us, given, wrong := f.number("us", f.v.Say("quality.value"), order.USPerCMField)
	if wrong != nil {
		return "", wrong
	}
	if f.form.Get("unit") == "ppm" {
		us = min(us*usPerPPM, order.USPerCMField.High)
	}
	next, o := onward(f.p, 0), order.Order{Kind: order.Quality, USPerCM: us, Unmeasured: !given}
	if kind := f.form.Get("kind"); slices.Contains(order.WaterField.Words, kind) {
		o.Water = kind
	}
	if !given && o.Water == "" {
		return next, nil
	}
	if us > worstUSPerCM { // shown before the first cell
		next = visitURL(f.p.Bay, "step=water")
	}
	return next, f.order("", o)
}

// theCell returns the number of the form's cell.
func (f *filled) theCell() (int, *problem) {
	n, err := strconv.Atoi(strings.TrimSpace(f.form.Get("cell")))
	if err != nil || n < 1 || n > f.p.Pack.Cells {
		return 0, f.bad(http.StatusBadRequest, "fail.cell", quoted(f.form.Get("cell")), f.p.Pack.Cells)
	}
	return n, nil
}

// before takes a level reading and returns with a new proposal.
func (f *filled) before() (string, *problem) {
	n, wrong := f.theCell()
	if wrong != nil {
		return "", wrong
	}
	mm, given, wrong := f.level("level", "cell.before")
	if wrong == nil && given {
		wrong = f.order("", order.Order{Kind: order.Level, Cell: n, LevelMM: mm})
	}
	return visitURL(f.p.Bay, fmt.Sprintf("cell=%d", n)), wrong
}

// level reads a level measured with the level rod.
func (f *filled) level(field, key string) (mm float64, given bool, wrong *problem) {
	return f.number(field, f.v.Say(key, f.v.Units().Length.Symbol), order.LevelField)
}

// cell records the poured amount and, if measured, the level reached.
func (f *filled) cell() (string, *problem) {
	n, wrong := f.theCell()
	if wrong != nil {
		return "", wrong
	}
	ml, given, wrong := f.number("ml", f.v.Say("cell.ml"), order.MLField)
	if wrong != nil {
		return "", wrong
	}
	after, measured, wrong := f.level("after", "cell.after")
	if wrong != nil {
		return "", wrong
	}
	if !given {
		ml = 0
	}
	if wrong = f.meanwhile(n); wrong != nil {
		return "", wrong
	}
	if plan := planOf(f.p, f.v, n-1); ml > 0 && plan.LevelKnown && ml >= plan.RoomML && f.form.Get("sure") != "yes" {
		f.ask(n, ml)
		return "", nil
	}
	wrong = f.order("-fill", order.Order{Kind: order.Fill, Cell: n, ML: ml})
	if wrong == nil && measured {
		wrong = f.order("-after", order.Order{Kind: order.Level, Cell: n, LevelMM: after})
	}
	return onward(f.p, n), wrong
}

// meanwhile finds water that another person recorded after the form was shown.
func (f *filled) meanwhile(n int) *problem {
	seen := f.form.Get("given")
	now := strconv.FormatFloat(f.p.Visit.GivenML[n-1], 'f', -1, 64)
	if seen == "" || seen == now || f.recent.has(f.form.Get("id")+"-fill") {
		return nil
	}
	return f.bad(http.StatusConflict, "fail.meanwhile", n)
}

func (f *filled) ask(n int, ml float64) {
	f.sure = f.newCellStep(f.r, f.p, n)
	f.sure.PouredML = strconv.FormatFloat(ml, 'f', -1, 64)
	f.sure.Sure = f.v.Say("cell.sure", f.v.Volume(ml), n)
	f.sure.After = f.form.Get("after")
}

func (f *filled) gravity() (string, *problem) {
	n, wrong := f.theCell()
	if wrong != nil {
		return "", wrong
	}
	sg, hasSG, wrong := f.number("gravity", f.v.Say("gravity.value"), order.GravityField)
	if wrong != nil {
		return "", wrong
	}
	atC, hasAt, wrong := f.number("at", f.v.Say("gravity.at", f.v.Units().Temperature.Symbol), order.AtCField)
	if wrong != nil {
		return "", wrong
	}
	if !hasSG || !hasAt {
		return "", f.bad(http.StatusBadRequest, "fail.pair")
	}
	wrong = f.order("", order.Order{Kind: order.Gravity, Cell: n, Gravity: sg, AtC: atC})
	return visitURL(f.p.Bay, fmt.Sprintf("at=%.1f&cell=%d&gravity=%.3f", atC, n, sg)), wrong
}

func (f *filled) close() (string, *problem) {
	if wrong := f.confirmed(order.VisitClose); wrong != nil {
		return "", wrong
	}
	return visitURL(f.p.Bay, "step=done"), f.order("", order.Order{Kind: order.VisitClose, Note: order.VisitClose.Row().Confirmed()})
}

// sheet enters a whole paper sheet. It orders nothing unless every entry is valid.
func (f *filled) sheet() (string, *problem) {
	mls, afters := f.form["ml"], f.form["after"]
	if len(mls) > f.p.Pack.Cells || len(afters) > f.p.Pack.Cells {
		return "", f.bad(http.StatusBadRequest, "fail.cells", max(len(mls), len(afters)), f.p.Pack.Cells)
	}
	var orders []order.Order
	for i := range f.p.Pack.Cells {
		line := url.Values{"ml": at(mls, i), "after": at(afters, i)}
		more, wrong := f.sheetLine(line, i+1)
		if wrong != nil {
			return "", wrong
		}
		orders = append(orders, more...)
	}
	if len(orders) == 0 {
		return "", f.bad(http.StatusBadRequest, "fail.empty")
	}
	last := 0
	for _, o := range orders {
		if wrong := f.order(fmt.Sprintf("-%d-%s", o.Cell, o.Kind), o); wrong != nil {
			if last > 0 {
				wrong.message += " " + f.v.Say("fail.partly", last)
			}
			return "", wrong
		}
		last = o.Cell
	}
	return visitURL(f.p.Bay, "step=close"), nil
}

func at(all []string, i int) []string {
	if i < len(all) {
		return all[i : i+1]
	}
	return nil
}

func (f *filled) sheetLine(line url.Values, n int) ([]order.Order, *problem) {
	cell := *f
	cell.form = line
	ml, poured, wrong := cell.number("ml", f.v.Say("water.cell", n)+", "+f.v.Say("cell.ml"), order.MLField)
	if wrong != nil {
		return nil, wrong
	}
	after, measured, wrong := cell.level("after", "cell.after")
	if wrong != nil {
		wrong.message = f.v.Say("water.cell", n) + ": " + wrong.message
		return nil, wrong
	}
	var orders []order.Order
	if poured {
		orders = append(orders, order.Order{Kind: order.Fill, Cell: n, ML: ml, Note: "Typed in from paper."})
	}
	if measured {
		orders = append(orders, order.Order{Kind: order.Level, Cell: n, LevelMM: after, Note: "Typed in from paper."})
	}
	return orders, nil
}

// number reads a field of an order as a person writes it: in the person's unit, with
// a point or a comma. The result is in the field's unit. given is false for an empty
// field.
func (f *filled) number(name, label string, of *order.Field) (x float64, given bool, wrong *problem) {
	text := strings.TrimSpace(f.form.Get(name))
	if text == "" {
		return 0, false, nil
	}
	in := measureOf(f.v, of.Unit)
	low, high := in.Of(of.Low), in.Of(of.High)
	x, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || !(x >= low && x <= high) {
		return 0, true, f.bad(http.StatusBadRequest, "fail.number", label, quoted(text), bound(low), bound(high))
	}
	return min(max(in.SI(x), of.Low), of.High), true, nil
}

// measureOf returns how a person writes a number in a unit.
func measureOf(v words.Voice, unit order.Unit) words.Measure {
	switch unit {
	case order.Millimetres:
		return v.Units().Length
	case order.Celsius:
		return v.Units().Temperature
	default:
		return words.Measure{Num: 1, Den: 1}
	}
}

// bound formats a limit with no more digits than it needs.
func bound(x float64) string { return strconv.FormatFloat(math.Round(100*x)/100, 'f', -1, 64) }

// order submits one order of the form. An order that was already accepted from this
// form counts as done: its answer was lost on the way.
func (f *filled) order(suffix string, o order.Order) *problem {
	o.ID, o.By = f.form.Get("id")+suffix, f.by
	if len(o.ID) > order.MaxIDBytes || !order.Printable(o.ID, order.MaxIDBytes) {
		return f.bad(http.StatusBadRequest, "fail.action")
	}
	if f.recent.has(o.ID) {
		return nil
	}
	_, wrong := f.submit(f.r.Context(), f.p.Bay, o)
	switch {
	case wrong == nil:
		f.recent.add(o.ID)
	case wrong.code == "no-answer":
		wrong.message = f.v.Say("fail.noanswer")
	case wrong.code == "refused":
		wrong.message, wrong.why = wrong.said(f.v), nil // the caller may add to it
	}
	return wrong
}
