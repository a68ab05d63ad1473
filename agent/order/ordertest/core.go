package ordertest

import (
	"fmt"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
)

// Cells is how many cells the packs of Core have.
var Cells = baytest.Pack().Cells

// Core is a real core with good readings, in which an order of one kind can be
// taken.
type Core struct {
	driver *baytest.Driver
	ready  []order.Order // given before the first order that is asked, nil when it was
}

// NewCore makes one for an order: the person who gives it has the lock that it needs,
// a visit is open where the order may give water, and the bay is for several packs
// where the order names one. Its cells are so deep that no level that an order may
// name is above their highest for a charge.
func NewCore(t testing.TB, k order.Kind) *Core {
	t.Helper()
	setup := baytest.Setup("bay-1")
	setup.Pack.VentWellMM = order.LevelField.High + 40
	if k == order.Pack {
		setup.Pack, setup.Packs = bay.Pack{}, baytest.Packs("lift-a", "lift-b")
	}
	c := &Core{baytest.New(setup), before(k)}
	c.driver.Run(time.Minute)
	return c
}

// before are the orders that make one of a kind possible; the person who gives it
// gives those without a name.
func before(k order.Kind) []order.Order {
	const other = "B. Person"
	switch {
	case k == order.Unhold:
		return []order.Order{{Kind: order.Hold}}
	case k == order.LockRemove:
		return []order.Order{{Kind: order.Hold, By: other}}
	case k == order.VisitJoin:
		return []order.Order{{Kind: order.VisitOpen, By: other}}
	case k == order.VisitLeave:
		return []order.Order{{Kind: order.VisitOpen}, {Kind: order.VisitJoin, By: other}}
	case k == order.Accept:
		much := order.Order{Kind: order.Fill, Cell: 2, ML: order.MLField.High, Sure: true}
		return []order.Order{{Kind: order.VisitOpen}, much, much}
	case k == order.Correct:
		return []order.Order{{Kind: order.VisitOpen}, {Kind: order.Fill, Cell: 2, ML: 20, Sure: true}}
	case k.Row().InVisit, k == order.Entry:
		return []order.Order{{Kind: order.VisitOpen}}
	}
	return nil
}

// NoRecord sets whether orders cannot be put on record.
func (c *Core) NoRecord(yes bool) { c.driver.Change = func(r *bay.Readings) { r.NoRecord = yes } }

// Prepare gives the orders that make an order possible, unless it has given them.
func (c *Core) Prepare(t testing.TB, o order.Order) {
	t.Helper()
	ready := c.ready
	c.ready = nil
	for i, b := range ready {
		b.ID = fmt.Sprint("before-", i)
		if b.By == "" {
			b.By = o.By
		}
		if e := c.Ask(t, b); e.Kind != bay.OrderTaken {
			t.Fatalf("the %s before it is refused: %s", b.Kind, e.Why.Code)
		}
	}
}

// Ask gives an order and returns what the core says of it.
func (c *Core) Ask(t testing.TB, o order.Order) bay.Event {
	t.Helper()
	c.Prepare(t, o)
	_, events := c.driver.Tick(o)
	for _, e := range events {
		if e.Order == o.ID && (e.Kind == bay.OrderTaken || e.Kind == bay.OrderRefused) {
			return e
		}
	}
	t.Fatalf("the core does not answer %+v", o)
	return bay.Event{}
}
