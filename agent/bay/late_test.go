package bay_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
)

// lateSheet is a sheet on which each of the cells was given 100 ml, but one.
func lateSheet(cells int, odd int, ml float64) order.Order {
	o := order.Order{Kind: order.Entry, DoneBy: "Ramón", DoneAt: "2026-03-01T14:30:00Z"}
	for cell := 1; cell <= cells; cell++ {
		amount := 100.0
		if cell == odd {
			amount = ml
		}
		o.Cells = append(o.Cells, order.CellEntry{Cell: cell, ML: new(amount)})
	}
	return o
}

// refusedAs returns the code of the refusal in a tick's events.
func refusedAs(events []bay.Event) order.Code {
	for _, e := range events {
		if e.Kind == bay.OrderRefused {
			return e.Why.Code
		}
	}
	return order.NoCode
}

// TestLateSheetIsInTheBalance: the water of paper sheets counts as if it had been
// recorded during the visit: a cell that takes three times as much is odd after the
// third one.
func TestLateSheetIsInTheBalance(t *testing.T) {
	d := baytest.New(baytest.Setup("bay-1"))
	d.Run(time.Minute)
	for n := range 3 {
		p, events := d.Ask(lateSheet(12, 7, 300))
		require.Equal(t, order.NoCode, refusedAs(events))
		require.False(t, p.Visit.Open)
		require.Equal(t, n+1, p.Water.Visits)
	}
	p := d.Run(time.Minute)
	odd := p.Water.OddCells()
	require.Len(t, odd, 1)
	require.Equal(t, 7, odd[0].Cell)
	// The water was not mixed in by any charge since.
	p, _ = d.Ask(order.Order{Kind: order.Gravity, Cell: 3, Gravity: 1.26, AtC: 25})
	require.Equal(t, "not-mixed", p.Charge.Gravity.Cells[2].Verdict.String())
}

// TestLateSheetIsNotNow: its readings are of that day, so neither level nor gravity
// of the pack moves, and it grants nothing.
func TestLateSheetIsNotNow(t *testing.T) {
	d := baytest.New(baytest.Setup("bay-1"))
	d.Values.LevelMM = -5
	before := d.Run(time.Minute).Clone()
	p, events := d.Ask(order.Order{Kind: order.Entry, DoneBy: "Ramón", DoneAt: "2026-03-01T14:30:00Z", Cells: []order.CellEntry{
		{Cell: 1, LevelMM: new(13.0), Gravity: new(1.28), AtC: new(25.0)}, {Cell: 2, How: order.ToMark, LevelMM: new(13.0)},
	}})
	require.Equal(t, order.NoCode, refusedAs(events))
	require.Equal(t, before.Water.LevelMM, p.Water.LevelMM)
	require.Nil(t, p.Charge.Gravity)
	require.False(t, p.Permit.Granted)
}

// TestLateSheetWaits: not while a visit is open, whose water it would mix with, and
// not while the pack is unknown.
func TestLateSheetWaits(t *testing.T) {
	d := baytest.New(baytest.Setup("bay-1"))
	d.Run(time.Minute)
	d.Ask(order.Order{Kind: order.VisitOpen})
	_, events := d.Ask(lateSheet(12, 0, 0))
	require.Equal(t, order.VisitIsOpen, refusedAs(events))

	setup := baytest.Setup("bay-1")
	setup.Packs = baytest.Packs("lift-a", "lift-b")
	d = baytest.New(setup)
	d.Run(time.Minute)
	_, events = d.Ask(lateSheet(12, 0, 0))
	require.Equal(t, order.PackUnknown, refusedAs(events))
}
