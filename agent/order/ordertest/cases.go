// Package ordertest serves the tests of every edge that takes orders: a good
// order of each kind, each bound and what is just beyond it, and the parts of
// the published contracts that are made from the table.
package ordertest

import (
	"math"
	"strings"
	"testing"

	"bayward/agent/order"
)

// good are orders that nothing is wrong with in an open visit to a pack with
// good readings, written by hand: a new row needs one.
var good = map[order.Kind]order.Order{
	order.Hold:       {},
	order.Unhold:     {},
	order.Release:    {},
	order.VisitOpen:  {},
	order.VisitClose: {},
	order.Fill:       {Cell: 2, ML: 110},
	order.Gravity:    {Cell: 2, Gravity: 1.27, AtC: 30},
	order.Level:      {Cell: 2, LevelMM: 9},
	order.Quality:    {USPerCM: 4.5, Water: "distilled"},
	order.Pack:       {Pack: "lift-a"},
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
	Beyond bool
}

// Bounds are the cases of each number of an order, in a bay with so many cells.
func Bounds(o order.Order, cells int) []Case {
	var all []Case
	for _, f := range o.Kind.Row().Fields {
		if f.IsText() {
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
			all = append(all, Case{with, f, c.beyond})
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

// Set puts a number into an order.
func Set(f *order.Field, o *order.Order, v float64) {
	switch p := f.Place(o).(type) {
	case *int:
		*p = int(v)
	case *float64:
		*p = v
	case *string:
		*p = strings.Repeat("x", int(v))
	}
}
