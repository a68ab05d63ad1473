package ordertest

import (
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
type Core struct{ driver *baytest.Driver }

// NewCore makes one for an order: a visit is open where the order needs one or may give water, and
// the bay is for several packs where the order names one. Its cells are so deep
// that no level that an order may name is above them.
func NewCore(t testing.TB, k order.Kind) *Core {
	t.Helper()
	setup := baytest.Setup("bay-1")
	setup.Pack.VentWellMM = order.LevelField.High
	if k == order.Pack {
		setup.Pack, setup.Packs = bay.Pack{}, baytest.Packs("lift-a", "lift-b")
	}
	c := &Core{baytest.New(setup)}
	c.driver.Run(time.Minute)
	if k.Row().InVisit || k == order.Entry {
		if e := c.Ask(t, order.Order{ID: "before", By: "A. Person", Kind: order.VisitOpen}); e.Kind != bay.OrderTaken {
			t.Fatalf("no visit opens: %s", e.Why.Code)
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
