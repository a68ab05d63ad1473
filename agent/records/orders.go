package records

import (
	"context"
	"encoding/json"
	"iter"

	"bayward/agent/bay"
	"bayward/agent/logbook"
	"bayward/agent/order"
	"bayward/agent/words"
)

// orders has a row for each order that a bay has answered, with the members of an MQTT
// command, so that a replay can give it again.
func orders(v words.Voice) *Table {
	type row = logbook.Record
	cols := []column[row]{
		{"bay", func(e *row) any { return e.Bay }},
		{"seq", func(e *row) any { return int64(e.Seq) }},
		{"time", func(e *row) any { return moment(e.Stamp.Wall) }},
		{"time_trusted", func(e *row) any { return e.Stamp.Trusted }},
		{"boot_id", func(e *row) any { return e.Stamp.BootID }},
		{"mono_s", func(e *row) any { return e.Stamp.Mono.Seconds() }},
		{"result", func(e *row) any {
			if e.Asked.Refused != nil {
				return "refused"
			}
			return "done"
		}},
		{"code", func(e *row) any {
			if e.Asked.Refused == nil {
				return nil
			}
			return e.Asked.Refused.Code
		}},
		{"id", func(e *row) any { return e.Order }},
		{"by", func(e *row) any { return e.By }},
		{"order", func(e *row) any { return e.Asked.Order }},
		{"note", func(e *row) any { return orNil(e.Asked.Note) }},
	}
	own := len(cols)
	for _, f := range order.Fields() {
		cols = append(cols, column[row]{f.Name, func(e *row) any { return memberOf(e.Asked, f) }})
	}
	t := newTable(v, "orders", "bay time time_trusted by order result code", cols, readOrders)
	for i, f := range order.Fields() { // as the contracts describe them
		t.Columns[own+i].Means = f.About
		if !f.IsText() && !f.IsFlag() && !f.IsList() && f.Unit != order.One {
			t.Columns[own+i].Means += ", " + string(f.Unit)
		}
	}
	return t
}

func orNil(text string) any {
	if text == "" {
		return nil
	}
	return text
}

// memberOf returns a field of an order as it is on record: with what the core worked
// out for a cell that was filled to the mark.
func memberOf(a *logbook.Asked, f *order.Field) any {
	v, given := a.Fields[f.Name]
	switch {
	case !given:
		return nil
	case f.IsList():
		text, err := json.Marshal(v)
		if err != nil {
			return nil // it came from JSON
		}
		return json.RawMessage(text)
	case f.IsWhole():
		if x, ok := v.(float64); ok {
			return int64(x)
		}
	}
	return v
}

func readOrders(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[logbook.Record, error] {
	return func(yield func(logbook.Record, error) bool) {
		for e, err := range r.EachEvent(ctx, q) {
			answer := e.Kind == bay.OrderTaken.String() || e.Kind == bay.OrderRefused.String()
			if (err != nil || answer && e.Asked != nil) && !yield(e, err) {
				return
			}
		}
	}
}
