package ordertest

import (
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
)

// Cells is how many cells the packs of Core have.
const Cells = 12

// Core is a real core with good readings, in which an order of one kind can be
// taken.
type Core struct{ driver *baytest.Driver }

// NewCore makes one for an order: a visit is open where the order needs one, and
// the bay is for several packs where the order names one.
func NewCore(t testing.TB, k order.Kind) *Core {
	t.Helper()
	setup := baytest.Setup("bay-1")
	packs := baytest.Packs("lift-a", "lift-b")
	for i := range packs {
		packs[i].VentWellMM = 180 // so that every level of the table can be
	}
	setup.Pack = packs[0]
	if k == order.Pack {
		setup.Packs = packs
	}
	c := &Core{baytest.New(setup)}
	c.driver.Run(time.Minute)
	if k.Row().InVisit {
		if e := c.Ask(t, order.Order{ID: "before", By: "A. Person", Kind: order.VisitOpen}); e.Kind != bay.OrderTaken {
			t.Fatalf("no visit opens: %s", e.Text)
		}
	}
	return c
}

// Ask gives an order and returns what the core says of it.
func (c *Core) Ask(t testing.TB, o order.Order) bay.Event {
	t.Helper()
	_, events := c.driver.Tick(o)
	for _, e := range events {
		if e.Order == o.ID && (e.Kind == bay.OrderTaken || e.Kind == bay.OrderRefused) {
			return e
		}
	}
	t.Fatalf("the core does not answer %+v", o)
	return bay.Event{}
}
