package web_test

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/order/ordertest"
	"bayward/agent/web"
	"bayward/agent/words"
)

// desk is a page whose orders go to a real core. It keeps the orders.
type desk struct {
	*bench
	t     *testing.T
	asked []order.Order
}

func newDesk(t *testing.T, k order.Kind, change func(*web.Options)) *desk {
	t.Helper()
	core, d := ordertest.NewCore(t, k), &desk{t: t}
	d.bench = newBench(func(o *web.Options) {
		o.Submit = func(_ context.Context, _ string, asked order.Order) (bay.Event, error) {
			d.asked = append(d.asked, asked)
			return core.Ask(t, asked), nil
		}
		if change != nil {
			change(o)
		}
	}, "bay-1")
	if k.Row().Of == order.OfVisit && k != order.VisitOpen {
		d.change("bay-1", func(p *bay.Picture) { p.Visit.Open, p.Visit.By = true, "A. Person" })
	}
	return d
}

// address returns where an order is sent and its name there.
func address(t *testing.T, k order.Kind) (path, action string) {
	t.Helper()
	for of, path := range map[order.Subject]string{order.OfVisit: "visit", order.OfCharge: "hold", order.OfPack: "pack"} {
		names, kinds := web.Actions(of)
		for i := range kinds {
			if kinds[i] == k {
				return "/api/v1/bays/bay-1/" + path, names[i]
			}
		}
	}
	t.Fatalf("the order %q has no address", k)
	return "", ""
}

func (d *desk) send(k order.Kind, fields map[string]any, header map[string]string) (*httptest.ResponseRecorder, request) {
	d.t.Helper()
	path, action := address(d.t, k)
	fields["action"] = action
	body, err := json.Marshal(fields)
	require.NoError(d.t, err)
	r := request{method: http.MethodPost, path: path, body: string(body), header: map[string]string{"Content-Type": "application/json"}}
	for name, value := range header {
		r.header[name] = value
	}
	return d.do(r), r
}

func named(o *order.Order) map[string]any {
	fields := o.Members()
	fields["by"], fields["id"] = "A. Person", "x-1"
	return fields
}

// TestEveryOrderByHTTP: each order is understood and described, and accepted from
// anyone who has exactly the right for it.
func TestEveryOrderByHTTP(t *testing.T) {
	api := readOpenAPI(t)
	ordertest.Each(t, func(t *testing.T, want order.Order) {
		d := newDesk(t, want.Kind, nil)
		w, r := d.send(want.Kind, named(&want), nil)
		require.Equal(t, http.StatusOK, w.Code, text(t, w))
		want.ID, want.By = "x-1", "A. Person"
		require.Equal(t, []order.Order{want}, d.asked)
		api.check(t, newDesk(t, want.Kind, nil).bench, r)

		stranger := newDesk(t, want.Kind, func(o *web.Options) { o.Writable = false })
		w, _ = stranger.send(want.Kind, named(&want), nil)
		require.Equal(t, want.Kind.Row().Right == order.MayLook, w.Code == http.StatusOK, "who is not known: %d", w.Code)
		for name, right := range map[string]order.Right{"Looker": order.MayLook, "Visitor": order.MayVisit, "Boss": order.MayRelease} {
			y := newDesk(t, want.Kind, func(o *web.Options) { o.People = newYard(t).People })
			fields := named(&want)
			delete(fields, "by")
			w, _ := y.send(want.Kind, fields, map[string]string{"Authorization": "Basic " + base64.StdEncoding.EncodeToString([]byte(name+":"+pin))})
			status := map[bool]int{true: http.StatusOK, false: http.StatusForbidden}[right >= want.Kind.Row().Right]
			require.Equal(t, status, w.Code, "%s: %s", name, text(t, w))
		}
	})
}

// TestEveryBoundByHTTP: each number at and beyond its bounds, as described.
func TestEveryBoundByHTTP(t *testing.T) {
	api := readOpenAPI(t)
	ordertest.Each(t, func(t *testing.T, o order.Order) {
		for _, at := range ordertest.Bounds(o, ordertest.Cells) {
			d := newDesk(t, o.Kind, nil)
			w, r := d.send(o.Kind, named(&at.Order), nil)
			if at.Beyond {
				require.Equal(t, http.StatusBadRequest, w.Code, r.body)
				body := text(t, w)
				require.Contains(t, body, `{"error":{"code":"bad-request","message":"field `+at.Field.Name+": ")
				require.Contains(t, body, `"field":"`+at.Field.Name+`","code":"`)
				require.Empty(t, d.asked, r.body)
			} else {
				require.Equal(t, http.StatusOK, w.Code, text(t, w))
				want := at.Order
				want.ID, want.By = "x-1", "A. Person"
				require.Equal(t, want, d.asked[0], at.Field.Name)
			}
			if at.Field != order.CellField || !at.Beyond { // the pack sets that bound
				api.check(t, newDesk(t, o.Kind, nil).bench, r)
			}
		}
	})
}

// TestEveryFieldByHTTP: a missing field and an unexpected field.
func TestEveryFieldByHTTP(t *testing.T) {
	api := readOpenAPI(t)
	ordertest.Each(t, func(t *testing.T, o order.Order) {
		for _, f := range order.Fields() {
			fields, status := named(&o), http.StatusBadRequest
			switch takes := o.Kind.Row().Takes(f); {
			case takes && (o.Kind.Row().AnyOf || slices.Contains(o.Kind.Row().Optional, f)):
				status = http.StatusOK
				fallthrough
			case takes:
				delete(fields, f.Name)
			case f.IsText():
				fields[f.Name] = "other"
			case f.IsFlag():
				fields[f.Name] = true
			case f.IsList():
				fields[f.Name] = []any{map[string]any{"cell": 1, "dry": true}}
			default:
				fields[f.Name] = f.High
			}
			d := newDesk(t, o.Kind, nil)
			w, r := d.send(o.Kind, fields, nil)
			require.Equal(t, status, w.Code, r.body)
			require.Len(t, d.asked, map[int]int{http.StatusOK: 1}[status], r.body)
			api.check(t, newDesk(t, o.Kind, nil).bench, r)
		}
	})
}

// written is how the page's forms send each order: their address, and their fields
// with the numbers in the person's own units.
type written struct {
	path string
	form func(o *order.Order, u *words.Units) url.Values
}

var forms = map[order.Kind]written{
	order.Hold: {"hold", func(o *order.Order, _ *words.Units) url.Values {
		return url.Values{"action": {"hold"}, "reason": {o.Reason}}
	}},
	order.Unhold: {"hold", button("unhold")},
	order.Accept: {"hold", func(o *order.Order, _ *words.Units) url.Values {
		return url.Values{"action": {"accept"}, "reason": {o.Reason}}
	}},
	order.LockRemove: {"hold", func(o *order.Order, _ *words.Units) url.Values {
		form := ticked("lock-remove", "nobody")
		form["lock"], form["of"], form["reason"] = []string{o.Lock}, []string{o.Of}, []string{o.Reason}
		return form
	}},
	order.Release: {"hold", button("release")},
	order.VisitOpen: {"visit", func(*order.Order, *words.Units) url.Values {
		return ticked("open", "park", "lock", "wear", "metal", "wash", "spark", "air", "calm")
	}},
	order.VisitJoin: {"visit", func(*order.Order, *words.Units) url.Values {
		return ticked("join", "wear", "metal", "spark")
	}},
	order.VisitLeave: {"visit", button("leave")},
	order.VisitClose: {"visit", func(*order.Order, *words.Units) url.Values {
		return ticked("close", "caps", "spills", "latch")
	}},
	order.Quality: {"visit", func(o *order.Order, _ *words.Units) url.Values {
		return url.Values{"action": {"quality"}, "us": {fmt.Sprint(o.USPerCM)}, "kind": {o.Water}}
	}},
	order.Pack: {"pack", func(o *order.Order, _ *words.Units) url.Values { return url.Values{"pack": {o.Pack}} }},
}

// inEntries are the orders that the page gives as an entry, for which
// TestEveryLineByForm holds, and corrections, for which TestEveryCorrectionByForm does.
var inEntries = map[order.Kind]bool{order.Fill: true, order.Gravity: true, order.Level: true, order.Entry: true, order.Correct: true}

func button(action string) func(*order.Order, *words.Units) url.Values {
	return func(*order.Order, *words.Units) url.Values { return url.Values{"action": {action}} }
}

func ticked(action string, points ...string) url.Values {
	form := url.Values{"action": {action}}
	for _, p := range points {
		form.Set("ok-"+p, "yes")
	}
	return form
}

// fill sends an order with its form, in a system of units.
func (d *desk) fill(o order.Order, units string, change func(url.Values)) *httptest.ResponseRecorder {
	d.t.Helper()
	w, ok := forms[o.Kind]
	require.True(d.t, ok, "the order %q has no form: add one to forms", o.Kind)
	form := w.form(&o, words.UnitsOf(units))
	form.Set("by", "A. Person")
	change(form)
	return d.form("/bays/bay-1/"+w.path, form.Encode())
}

func same(url.Values) {}

// TestEveryOrderByForm: the page's form and a program give the same order.
func TestEveryOrderByForm(t *testing.T) {
	ordertest.Each(t, func(t *testing.T, want order.Order) {
		if inEntries[want.Kind] {
			return
		}
		for _, units := range words.Systems() {
			d := newDesk(t, want.Kind, func(o *web.Options) { o.Units = units })
			w := d.fill(want, units, same)
			require.Equal(t, http.StatusSeeOther, w.Code, text(t, w))
			require.Len(t, d.asked, 1)
			got := d.asked[0]
			for _, f := range want.Kind.Row().Fields {
				require.InDelta(t, f.Number(&want), f.Number(&got), 1e-9, f.Name)
			}
			require.NotEmpty(t, got.ID)
			require.Equal(t, order.Order{
				Kind: want.Kind, By: "A. Person", Water: want.Water, Pack: want.Pack, Note: want.Kind.Row().Confirmed(),
				Reason: want.Reason, Of: want.Of, Lock: want.Lock, NobodyAtPack: want.NobodyAtPack,
			},
				order.Order{
					Kind: got.Kind, By: got.By, Water: got.Water, Pack: got.Pack, Note: got.Note,
					Reason: got.Reason, Of: got.Of, Lock: got.Lock, NobodyAtPack: got.NobodyAtPack,
				})
		}
		stranger := newDesk(t, want.Kind, func(o *web.Options) { o.Writable = false })
		w := stranger.fill(want, "si", same)
		require.Equal(t, want.Kind.Row().Right == order.MayLook, w.Code == http.StatusSeeOther, "who is not known: %d", w.Code)
		for _, point := range want.Kind.Row().Confirm {
			d := newDesk(t, want.Kind, nil)
			w := d.fill(want, "si", func(form url.Values) { form.Del("ok-" + point) })
			require.Equal(t, http.StatusBadRequest, w.Code, point)
			require.Empty(t, d.asked, point)
		}
	})
}

// TestEveryBoundByForm: each number at and beyond its bounds, in every system of
// units. The page shows what is accepted.
func TestEveryBoundByForm(t *testing.T) {
	ordertest.Each(t, func(t *testing.T, o order.Order) {
		if inEntries[o.Kind] {
			return
		}
		for _, at := range ordertest.Bounds(o, ordertest.Cells) {
			for _, units := range words.Systems() {
				d := newDesk(t, o.Kind, func(o *web.Options) { o.Units = units })
				w := d.fill(at.Order, units, same)
				if at.Beyond {
					require.Equal(t, http.StatusBadRequest, w.Code, "%s: %+v", units, at.Order)
					require.Empty(t, d.asked)
					require.Contains(t, text(t, w), "Not recorded.")
					continue
				}
				require.Equal(t, http.StatusSeeOther, w.Code, "%s: %+v: %s", units, at.Order, strings.TrimSpace(text(t, w)))
				require.InDelta(t, at.Field.Number(&at.Order), at.Field.Number(&d.asked[0]), 1e-9, at.Field.Name)
			}
		}
	})
}

// TestRefusalsAreInTheReadersLanguage: the page uses the reader's language; programs
// get English.
func TestRefusalsAreInTheReadersLanguage(t *testing.T) {
	b := newBench(func(o *web.Options) { o.Language = "es" }, "bay-1")
	require.Equal(t, http.StatusSeeOther, b.form("/bays/bay-1/hold", "action=hold&by=A&id=x").Code)
	require.Equal(t, http.StatusSeeOther, b.form("/bays/bay-1/hold", "action=hold&by=A&id=x").Code, "sent twice, it is done")
	require.Contains(t, unescaped(text(t, b.form("/bays/bay-1/pack", "pack=lift-a&by=A"))), "este puesto es solo para la batería lift-24v")
	refused(t, b.post("/api/v1/bays/bay-1/hold", `{"action":"hold","by":"A","id":"x"}`), 409, "Refused hold: an order with this ID was taken before.")
}

// TestHistoryIsInTheReadersLanguage: both orders and refusals are translated.
func TestHistoryIsInTheReadersLanguage(t *testing.T) {
	past := &web.Past{}
	b := newBench(func(o *web.Options) { o.Language, o.Past = "es", past }, "bay-1")
	for _, o := range []order.Order{{ID: "1", By: "A", Kind: order.Hold}, {ID: "2", By: "A", Kind: order.Fill, Cell: 1, ML: 5}} {
		past.Happened("bay-1", b.step("bay-1", o))
	}
	page := unescaped(text(t, b.get("/bays/bay-1")))
	require.Contains(t, page, "El puesto está retenido.")
	require.Contains(t, page, "No se aceptó el agua: no hay ninguna visita abierta.")
}

// TestASlipIsAskedBackByHTTP: the answer names the cell, the field and the numbers,
// and the same order with sure is taken.
func TestASlipIsAskedBackByHTTP(t *testing.T) {
	for k, fields := range map[order.Kind]map[string]any{
		order.Fill:  {"cell": 2, "ml": 500},
		order.Entry: {"cells": []any{map[string]any{"cell": 1, "ml": 5}, map[string]any{"cell": 2, "ml": 500}}},
	} {
		d := newDesk(t, k, nil)
		fields["by"], fields["id"] = "A. Person", "x-1"
		w, _ := d.send(k, fields, nil)
		require.Equal(t, http.StatusConflict, w.Code)
		var answer struct {
			Error struct {
				Faults []struct {
					Cell        int
					Field, Code string
					Value       float64
				}
			}
		}
		require.NoError(t, json.Unmarshal([]byte(text(t, w)), &answer))
		require.Len(t, answer.Error.Faults, 1)
		f := answer.Error.Faults[0]
		require.Equal(t, "2 ml ask-much 500", fmt.Sprint(f.Cell, " ", f.Field, " ", f.Code, " ", f.Value))
		fields["sure"], fields["id"] = true, "x-2"
		w, _ = d.send(k, fields, nil)
		require.Equal(t, http.StatusOK, w.Code, text(t, w))
	}
}
