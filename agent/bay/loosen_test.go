package bay_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
	"bayward/agent/order/ordertest"
)

// careful are the orders that make no bay less careful, written by hand: they are
// taken while nothing can be recorded.
var careful = map[order.Kind]bool{
	order.Hold: true, order.VisitOpen: true, order.VisitJoin: true, order.Fill: true, order.Quality: true,
}

// TestNothingLoosensUnrecorded: while an order cannot be put on record, one that
// makes the bay less careful is refused and changes nothing; it is taken once it can.
func TestNothingLoosensUnrecorded(t *testing.T) {
	ordertest.Each(t, func(t *testing.T, o order.Order) {
		o.ID, o.By = "x-1", "A. Person"
		core := ordertest.NewCore(t, o.Kind)
		core.Prepare(t, o)
		core.NoRecord(true)
		e := core.Ask(t, o)
		if careful[o.Kind] {
			require.Equal(t, bay.OrderTaken, e.Kind, e.Why.Code)
			return
		}
		require.Equal(t, bay.OrderRefused, e.Kind)
		require.Equal(t, order.Refusal{Code: order.NoRecord, Kind: o.Kind}, e.Why)
		core.NoRecord(false)
		require.Equal(t, bay.OrderTaken, core.Ask(t, o).Kind)
	})
}

// TestWhatAnEntryLoosens: an entry that shows nothing better than what the bay goes
// by is taken. The pack stands 6 mm above its plate tops.
func TestWhatAnEntryLoosens(t *testing.T) {
	over := order.Order{ID: "before-2", Kind: order.Entry, Sure: true, Cells: []order.CellEntry{{Cell: 4, LevelMM: new(21.0)}}}
	for _, c := range []struct {
		name    string
		before  []order.Order
		ask     order.Order
		refused bool
	}{
		{"water", visited, line(order.CellEntry{Cell: 4, ML: new(20.0), How: order.Measured}), false},
		{"plates", nil, line(order.CellEntry{Cell: 4, Dry: true}), false},
		{"water and plates after it", visited, line(order.CellEntry{Cell: 4, ML: new(20.0), Dry: true}), false},
		{"a lower level", visited, line(order.CellEntry{Cell: 4, LevelMM: new(4.0)}), false},
		{"a lower level outside a visit", nil, order.Order{Kind: order.Level, Cell: 4, LevelMM: 4}, false},
		{"a higher level", visited, line(order.CellEntry{Cell: 4, LevelMM: new(9.0)}), true},
		{"a higher level in another line", visited, order.Order{Kind: order.Entry, Cells: []order.CellEntry{{Cell: 3, Dry: true}, {Cell: 4, LevelMM: new(9.0)}}}, true},
		{"a level in a bare cell", []order.Order{{Kind: order.VisitOpen}, dry4}, line(order.CellEntry{Cell: 4, LevelMM: new(1.0)}), true},
		{"a level in an overfilled cell", []order.Order{{Kind: order.VisitOpen}, over}, line(order.CellEntry{Cell: 4, LevelMM: new(5.0)}), true},
		{"filled to the mark", visited, line(order.CellEntry{Cell: 4, How: order.ToMark}), true},
		{"a gravity", nil, line(order.CellEntry{Cell: 4, Gravity: new(1.2), AtC: new(25.0)}), true},
		{"a sheet typed in later", nil, order.Order{
			Kind: order.Entry, DoneBy: "B. Person", DoneAt: "2026-03-01T10:00:00Z",
			Cells: []order.CellEntry{{Cell: 4, ML: new(20.0), How: order.Measured}},
		}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := baytest.New(baytest.Setup("bay-1"))
			d.Run(time.Minute)
			for _, o := range c.before {
				d.Tick(signedBy(o, "before"))
			}
			d.Change = func(r *bay.Readings) { r.NoRecord = true }
			_, events := d.Tick(signedBy(c.ask, "asked"))
			for _, e := range events {
				if e.Order != "asked" || e.Kind != bay.OrderTaken && e.Kind != bay.OrderRefused {
					continue
				}
				require.Equal(t, c.refused, e.Kind == bay.OrderRefused, e.Why.Code)
				if c.refused {
					require.Equal(t, order.NoRecord, e.Why.Code)
				}
				return
			}
			t.Fatal("the core does not answer")
		})
	}
	t.Run("a pack's name taken back", func(t *testing.T) {
		core := ordertest.NewCore(t, order.Pack)
		core.NoRecord(true)
		require.Equal(t, bay.OrderTaken, core.Ask(t, order.Order{ID: "x", By: "A. Person", Kind: order.Pack}).Kind)
	})
}
