package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

// ClosedVisit is a closed visit of the record, with what can be corrected in it.
type ClosedVisit struct {
	ID    int64
	By    string
	Start time.Time
	Cells []ClosedCell
}

// ClosedCell is one cell's values, by the names of the fields of an entry.
type ClosedCell struct {
	Cell   int
	Values map[string]float64
}

// closedFields are the fields that can be corrected, in the order of the page.
var closedFields = []*order.Field{order.MLField, order.DrawnField, order.LevelField, order.GravityField}

// closedPage lists the closed visits of the plugged-in pack, or one to correct.
type closedPage struct {
	base
	Bay    string
	May    bool // the reader may correct
	Visits []closedLink
	Visit  string // the one to correct, "" for none
	ID     int64
	Values []closedValue
	Form   form
}

type closedLink struct {
	ID   int64
	Text string
}

// closedValue is one value to choose. Key is its cell and field.
type closedValue struct{ Key, Text string }

// closed shows the closed visits, or one of them with its form.
func (s *server) closed(w http.ResponseWriter, r *http.Request) {
	p, wrong := s.find(r)
	if wrong != nil {
		s.fail(w, r, *wrong)
		return
	}
	visits, err := s.closedOf(r.Context(), p)
	if err != nil {
		s.fail(w, r, *failed(http.StatusServiceUnavailable, "unreadable", s.view(r).Say("closed.unread")))
		return
	}
	s.write(w, r, http.StatusOK, "closed", s.newClosedPage(r, p, visits, r.URL.Query().Get("visit")))
}

func (s *server) closedOf(ctx context.Context, p *bay.Picture) ([]ClosedVisit, error) {
	if s.Closed == nil || !p.Named() {
		return nil, nil
	}
	return s.Closed(ctx, p.Pack.Name)
}

func (s *server) newClosedPage(r *http.Request, p *bay.Picture, visits []ClosedVisit, chosen string) closedPage {
	v := s.view(r)
	page := closedPage{base: s.base(r, v.Say("closed.title")), Bay: p.Bay, May: s.may(r, order.Release)}
	for i := range visits {
		c := &visits[i]
		text := v.Say("closed.visit", c.ID, c.Start.Local().Format("2006-01-02 15:04 MST"), c.By)
		page.Visits = append(page.Visits, closedLink{c.ID, text})
		if strconv.FormatInt(c.ID, 10) == chosen {
			page.Visit, page.ID, page.Values = text, c.ID, closedValues(v, c)
		}
	}
	return page
}

func closedValues(v words.Voice, c *ClosedVisit) (all []closedValue) {
	for _, cell := range c.Cells {
		for _, f := range closedFields {
			if x, ok := cell.Values[f.Name]; ok {
				text := v.Say("closed.value", cell.Cell, v.Say("field."+f.Name), v.Recorded(f, x))
				all = append(all, closedValue{fmt.Sprintf("%d:%s", cell.Cell, f.Name), text})
			}
		}
	}
	return all
}

// closedForm corrects one value of a closed visit.
func (s *server) closedForm(w http.ResponseWriter, r *http.Request) {
	f := s.received(w, r)
	if f == nil {
		return
	}
	f.Action = "closed"
	visits, err := s.closedOf(r.Context(), f.p)
	if err != nil {
		f.bad(http.StatusServiceUnavailable, "closed.unread")
	}
	f.correctClosed(visits)
	if f.fine() {
		f.done(w, "/bays/"+url.PathEscape(f.p.Bay)+"/closed?visit="+url.QueryEscape(f.Value("visit")))
		return
	}
	page := s.newClosedPage(r, f.p, visits, f.Value("visit"))
	page.Form = f.form
	s.write(w, r, f.status, "closed", page)
}

// correctClosed gives the order. The old value is that of the record, not the form's.
func (f *sent) correctClosed(visits []ClosedVisit) {
	if !f.mayGive(order.Release) || !f.signed() || !f.fine() {
		return
	}
	cell, of, was := f.chosen(visits)
	if of == nil {
		f.wrong(http.StatusBadRequest, "which", f.v.Say("closed.which"), f.v.Say("fail.which"))
		return
	}
	value, void := f.amount("value", f.v.Say("closed.new"), of), f.Value("void") == "yes"
	if f.fine() && (value == nil) != void {
		f.wrong(http.StatusBadRequest, "value", f.v.Say("closed.new"), f.v.Say("fail.voided"))
	}
	reason := strings.TrimSpace(f.Value("reason"))
	if !order.Printable(reason, order.MaxNoteRunes) {
		f.wrong(http.StatusBadRequest, "reason", f.v.Say("closed.why"), f.v.Say("fail.why"))
	}
	id, _ := strconv.Atoi(f.Value("visit")) // chosen has found it
	f.order(order.Order{
		Kind: order.Correct, Visit: id, Pack: f.p.Pack.Name, Cell: cell, Field: of.Name, Value: value, Was: new(was), Reason: reason,
	})
}

// chosen finds the value that a form is about; of is nil when there is none.
func (f *sent) chosen(visits []ClosedVisit) (cell int, of *order.Field, was float64) {
	text, name, _ := strings.Cut(f.Value("which"), ":")
	for i := range visits {
		if strconv.FormatInt(visits[i].ID, 10) != f.Value("visit") {
			continue
		}
		for _, c := range visits[i].Cells {
			x, ok := c.Values[name]
			if field := order.FieldOf(name); ok && strconv.Itoa(c.Cell) == text && slices.Contains(closedFields, field) {
				return c.Cell, field, x
			}
		}
	}
	return 0, nil, 0
}
