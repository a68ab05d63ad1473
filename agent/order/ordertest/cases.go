// Package ordertest serves the tests of every edge that takes orders: a good
// order of each kind, each bound and what is just beyond it, and the parts of
// the published contracts that are made from the table.
package ordertest

import (
	"math"
	"slices"
	"strings"
	"testing"

	"bayward/agent/order"
)

// good are orders that nothing is wrong with in an open visit to a pack with
// good readings, written by hand: a new row needs one. They are sure, because the
// bounds of a field are beyond what a core asks about.
var good = map[order.Kind]order.Order{
	order.Hold:       {Reason: "contactor smells"},
	order.Unhold:     {},
	order.LockRemove: {Lock: "hold", Of: "B. Person", Reason: "gone home", NobodyAtPack: true},
	order.Release:    {},
	order.VisitOpen:  {},
	order.VisitJoin:  {},
	order.VisitLeave: {},
	order.VisitClose: {},
	order.Fill:       {Cell: 2, ML: 20, Sure: true},
	order.Gravity:    {Cell: 2, Gravity: 1.27, AtC: 30},
	order.Level:      {Cell: 2, LevelMM: 9, Sure: true},
	order.Quality:    {USPerCM: 4.5, Water: "distilled"},
	order.Pack:       {Pack: "lift-a"},
	order.Correct:    {Cell: 2, Field: "ml", Value: new(50.0), Reason: "a slip of a digit"},
	order.Accept:     {Reason: "the gauge glass was read wrong, looked at it twice"},
	order.Entry: {Sure: true, Cells: []order.CellEntry{
		{Cell: 2, ML: new(20.0), How: order.Measured, LevelMM: new(8.0), Gravity: new(1.27), AtC: new(30.0), SeenML: new(0.0)},
		{Cell: 3, DrawnML: new(20.0)},
		{Cell: 4, ML: new(20.0), How: order.AsProposed},
		{Cell: 5, Dry: true},
	}},
}

// Good is an order of a kind that nothing is wrong with.
func Good(t testing.TB, k order.Kind) order.Order {
	t.Helper()
	o, ok := good[k]
	if !ok {
		t.Fatalf("the order %q has no case: add one to agent/order/ordertest", k)
	}
	o.Kind = k
	return o
}

// Each runs a test for every order of the table, by its name.
func Each(t *testing.T, run func(t *testing.T, o order.Order)) {
	t.Helper()
	for k := order.None + 1; k < order.NumKinds; k++ {
		t.Run(k.String(), func(t *testing.T) { run(t, Good(t, k)) })
	}
}

// Case is an order with one number at a bound of its field, or just beyond.
type Case struct {
	order.Order
	Field  *order.Field
	Value  float64
	Beyond bool
}

// Bounds are the cases of each number of an order, in a bay with so many cells.
func Bounds(o order.Order, cells int) []Case {
	var all []Case
	for _, f := range slices.Concat(o.Kind.Row().Fields, o.Kind.Row().Each) {
		if f.IsText() || f.IsFlag() || f.IsList() || f == order.SeenField || f == order.VisitField || f == order.WasField { // whose value is the core's or the record's
			continue
		}
		low, high := f.Low, f.High
		if f == order.CellField {
			high = float64(cells)
		}
		for _, c := range []struct {
			v      float64
			beyond bool
		}{{low, false}, {high, false}, {below(f, low), true}, {above(f, high), true}} {
			with := o
			Set(f, &with, c.v)
			all = append(all, Case{with, f, c.v, c.beyond})
		}
	}
	return all
}

// below and above are the next values that a person could write.
func below(f *order.Field, v float64) float64 { return v - step(f) }
func above(f *order.Field, v float64) float64 { return v + step(f) }

func step(f *order.Field) float64 {
	if f.IsWhole() {
		return 1
	}
	return math.Pow(10, math.Floor(math.Log10(f.High-f.Low))-3)
}

// Set puts a number into an order; into an entry, at its only line.
func Set(f *order.Field, o *order.Order, v float64) {
	if o.Kind == order.Entry {
		o.Cells = []order.CellEntry{lineWith(f, v)}
		return
	}
	switch p := f.Place(o).(type) {
	case *int:
		*p = int(v)
	case *float64:
		*p = v
	case **float64:
		*p = new(v)
	case *string:
		*p = strings.Repeat("x", int(v))
	}
}

// lineWith is a line of an entry with one number, and what goes with it.
func lineWith(f *order.Field, v float64) order.CellEntry {
	c := order.CellEntry{Cell: 2}
	switch f {
	case order.CellField:
		c.Cell, c.LevelMM = int(v), new(9.0)
	case order.MLField:
		c.ML = new(v)
	case order.DrawnField:
		c.DrawnML = new(v)
	case order.LevelField:
		c.LevelMM = new(v)
	case order.GravityField:
		c.Gravity, c.AtC = new(v), new(25.0)
	case order.AtCField:
		c.Gravity, c.AtC = new(1.27), new(v)
	}
	return c
}
