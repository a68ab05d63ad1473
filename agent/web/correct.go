package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/words"
)

// correction is one value of a cell that can be corrected in the open visit.
type correction struct {
	Form       string // its form on the page
	Title, Now string
	Unit       string
	Was        string // for the core, which refuses a correction of another value
}

// correctable are the fields that a correction is about, and the key of what each is
// called on the page.
var correctable = []struct {
	of  *order.Field
	key string
}{
	{order.MLField, "correct.ml"}, {order.DrawnField, "correct.drawn"}, {order.LevelField, "correct.level"}, {order.GravityField, "gravity.value"},
}

// recordedOf returns what the open visit has of a field of a cell; nil for nothing.
func (n plan) recordedOf(of *order.Field) *float64 {
	switch c := &n.Cell; {
	case of == order.MLField && c.How != "":
		return new(n.GivenML)
	case of == order.DrawnField && c.DrawnML > 0:
		return new(c.DrawnML)
	case of == order.LevelField:
		return c.LevelMM
	case of == order.GravityField:
		return c.Gravity
	}
	return nil
}

// Corrections lists what can be corrected at the cell.
func (n plan) Corrections() (all []correction) {
	for _, row := range correctable {
		was := n.recordedOf(row.of)
		if was == nil {
			continue
		}
		c := correction{Form: "correct-" + row.of.Name, Title: n.voice.Say(row.key), Unit: n.voice.Typed(row.of.Unit).Symbol, Was: strconv.FormatFloat(*was, 'f', -1, 64)}
		switch row.of.Unit {
		case order.Millilitres:
			c.Now = n.voice.Volume(*was)
		case order.Millimetres:
			c.Now = n.voice.Height(*was)
		default:
			c.Now = n.voice.Say("gravity.plain", *was)
		}
		all = append(all, c)
	}
	return all
}

// slips are the usual reasons for a correction.
var slips = []string{"typed", "cell", "twice", "other"}

// Slips returns the reasons to choose from.
func (page visitPage) Slips() []string { return slips }

// correct replaces one value of a cell of the open visit, or takes it back.
func (f *sent) correct(field string) string {
	of := order.FieldOf(field)
	o := order.Order{Kind: order.Correct, Cell: f.cell, Field: field, Was: f.seen("was")}
	void := f.Value("void") == "yes"
	label := f.v.Say("correct.value")
	for _, row := range correctable {
		if row.of == of {
			o.Value = f.amount("value", label, of)
		}
	}
	switch {
	case !f.fine():
	case void && o.Value != nil:
		f.wrong(http.StatusBadRequest, "value", label, f.v.Say("fail.void"))
	case !void && o.Value == nil:
		f.wrong(http.StatusBadRequest, "value", label, f.v.Say("fail.value"))
	}
	o.Reason = f.reason()
	f.order(o)
	return visitURL(f.p.Bay, fmt.Sprintf("cell=%d", f.cell))
}

// reason returns why something is corrected: a usual slip, or what was typed.
func (f *sent) reason() string {
	text := strings.TrimSpace(f.Value("why"))
	for _, slip := range slips {
		if f.Value("slip") == slip && slip != "other" && text == "" {
			return f.v.Say("slip." + slip)
		}
	}
	if !order.Printable(text, order.MaxNoteRunes) {
		f.wrong(http.StatusBadRequest, "why", f.v.Say("correct.why"), f.v.Say("fail.reason"))
	}
	return text
}

// corrections lists what was corrected at a cell since a time, oldest first.
func (h *Past) corrections(bayName string, since time.Duration, cell int, v words.Voice) (all []string) {
	if h == nil {
		return nil
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	for i := range h.events[bayName] {
		e := &h.events[bayName][i].Event
		if e.Kind == bay.OrderTaken && e.Asked.Kind == order.Correct && e.Asked.Cell == cell && e.Asked.Visit == 0 && e.At >= since {
			all = append(all, v.Event(e)+" "+v.Say("correct.by", e.By))
		}
	}
	return all
}
