package mqtt

import (
	"context"
	"encoding/json"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/order/ordertest"
)

// withCore is an office whose orders go to a real core.
func withCore(t *testing.T, k order.Kind) *office {
	t.Helper()
	o, core := newOffice(t), ordertest.NewCore(t, k)
	o.opt.Submit = func(_ context.Context, _ string, asked order.Order) (bay.Event, error) {
		o.orders = append(o.orders, asked)
		return core.Ask(t, asked), nil
	}
	return o
}

// letter returns an order as in a signed command, with its own fields.
func letter(t *testing.T, k order.Kind, fields map[string]any) string {
	t.Helper()
	all := map[string]any{
		"v": 1, "id": "x-1", "order": k.String(), "to": testTopics.Command("bay-1"), "time": "2026-03-01T12:00:00Z",
	}
	maps.Copy(all, fields)
	text, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestEveryOrder: each order is understood, and accepted exactly from those with
// the right.
func TestEveryOrder(t *testing.T) {
	c := contract(t)
	ordertest.Each(t, func(t *testing.T, want order.Order) {
		fields := want.Members()
		payload := letter(t, want.Kind, fields)
		if err := c.CheckSchema("order", []byte(payload)); err != nil {
			t.Error(err)
		}
		for _, right := range append(order.Rights(), order.NoRight) {
			who, key := person("Ana Ruiz")
			who.Right = right
			o := withCore(t, want.Kind)
			o.opt.People = []Person{who}
			r, allowed := o.ask(signed(key, header("Ana Ruiz"), payload)), right.Allows(want.Kind) || want.Kind == order.Hold
			if (r.Result == Done) != allowed || !allowed && r.Reason != NoRight {
				t.Errorf("with the right %s: %+v", right, r)
			}
			want.ID, want.By = "x-1", "Ana Ruiz"
			if allowed && (len(o.orders) != 1 || !reflect.DeepEqual(o.orders[0], want)) {
				t.Errorf("became %+v, want %+v", o.orders, want)
			}
		}
		fields["by"] = "A. Person"
		open := withCore(t, want.Kind).ask(letter(t, want.Kind, fields))
		if need := want.Kind.Row().Right; (open.Result == Done) != (need == order.MayLook) || open.Result != Done && open.Reason != Unsigned {
			t.Errorf("without a signature: %+v", open)
		}
	})
}

// TestEveryBound: schema, client and core agree on each number at its bounds and
// beyond.
func TestEveryBound(t *testing.T) {
	c := contract(t)
	_, key := person("Ana Ruiz")
	ordertest.Each(t, func(t *testing.T, o order.Order) {
		for _, at := range ordertest.Bounds(o, ordertest.Cells) {
			payload := letter(t, o.Kind, at.Members())
			r := withCore(t, o.Kind).ask(signed(key, header("Ana Ruiz"), payload))
			if (r.Result == Done) == at.Beyond || at.Beyond && (r.Reason != Refused || !strings.Contains(r.Text, "is not accepted: must be ")) {
				t.Errorf("%s: %+v", payload, r)
			}
			if err := c.CheckSchema("order", []byte(payload)); (err != nil) != at.Beyond && at.Field != order.CellField { // whose bound is the pack's
				t.Errorf("%s: the schema says %v", payload, err)
			}
		}
	})
}

// TestEveryFieldBelongs: the schema and this client agree on a field that is
// missing, one that is stray, and a text that is not accepted.
func TestEveryFieldBelongs(t *testing.T) {
	c := contract(t)
	_, key := person("Ana Ruiz")
	ordertest.Each(t, func(t *testing.T, o order.Order) {
		check := func(what string, fields map[string]any, good bool) {
			t.Helper()
			payload := letter(t, o.Kind, fields)
			if r := withCore(t, o.Kind).ask(signed(key, header("Ana Ruiz"), payload)); (r.Result == Done) != good || !good && r.Reason != BadField {
				t.Errorf("%s: %s: %+v", what, payload, r)
			}
			if err := c.CheckSchema("order", []byte(payload)); (err == nil) != good {
				t.Errorf("%s: %s: the schema says %v", what, payload, err)
			}
		}
		for _, f := range order.Fields() {
			fields := o.Members()
			if !o.Kind.Row().Takes(f) {
				fields[f.Name] = sample(f)
				check(f.Name+" is stray", fields, false)
				continue
			}
			delete(fields, f.Name)
			check("without "+f.Name, fields, o.Kind.Row().AnyOf || slices.Contains(o.Kind.Row().Optional, f))
			if f.IsText() {
				fields[f.Name] = strings.Repeat("x", int(f.High)+1)
				check(f.Name+" is too long", fields, false)
			}
		}
		if row := o.Kind.Row(); row.AnyOf {
			check("without any field", nil, false)
		}
	})
}

// sample is a value that the field accepts.
func sample(f *order.Field) any {
	switch {
	case len(f.Words) > 0:
		return f.Words[0]
	case f.IsText():
		return strings.Repeat("x", int(f.High))
	case f.IsFlag():
		return true
	case f.IsList():
		return []any{map[string]any{"cell": 1, "dry": true}}
	}
	return f.High
}

// TestASlipIsAskedBack: the answer names the cell, the field and the numbers, nothing
// is booked, and the same order with sure is taken.
func TestASlipIsAskedBack(t *testing.T) {
	_, key := person("Ana Ruiz")
	for k, fields := range map[order.Kind]map[string]any{
		order.Fill:  {"cell": 2, "ml": 500},
		order.Entry: {"cells": []any{map[string]any{"cell": 1, "ml": 5}, map[string]any{"cell": 2, "ml": 500}}},
	} {
		o := withCore(t, k)
		r := o.ask(signed(key, header("Ana Ruiz"), letter(t, k, fields)))
		if r.Reason != Refused || len(r.Faults) != 1 || r.Faults[0].Cell != 2 || r.Faults[0].Field != "ml" || r.Faults[0].Code != "ask-much" || *r.Faults[0].Value != 500 {
			t.Errorf("%s: %+v", k, r)
		}
		payload, err := r.JSON()
		if err != nil {
			t.Fatal(err)
		}
		if err := contract(t).CheckSchema("response", payload); err != nil {
			t.Error(err)
		}
		fields["sure"], fields["id"] = true, "x-2"
		if r := o.ask(signed(key, header("Ana Ruiz"), letter(t, k, fields))); r.Result != Done {
			t.Errorf("%s: sure: %+v", k, r)
		}
	}
}
