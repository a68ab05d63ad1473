package ordertest

import (
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// Cells is how many cells the packs of Core have.
const Cells = 12

// Core is a real core with good readings, in which an order of one kind can be
// taken.
type Core struct {
	bay *bay.Bay
	now time.Duration
}

// NewCore makes one for an order: a visit is open where the order needs one, and
// the bay is for several packs where the order names one.
func NewCore(t testing.TB, k order.Kind) *Core {
	t.Helper()
	pack := bay.Pack{
		Name: "lift-a", Cells: Cells, CapacityAh: 225, RateHours: 20, FullGravity: 1.277, ChargeLevelMM: 3, FillMarkMM: 13,
		VentWellMM: 180, FreeSurfaceCM2: 130, ElectrolyteML: 2250, ChargeFactor: 1.15,
	}
	setup := bay.Setup{
		Name: "bay-1", Pack: pack, Limits: bay.DefaultLimits(), Fitted: reading.SensorsOf(reading.PackCurrent, reading.AmbientTemperature),
	}
	if k == order.Pack {
		other := pack
		other.Name = "lift-b"
		setup.Pack, setup.Packs = bay.Pack{}, []bay.Pack{pack, other}
	}
	c := &Core{bay: bay.New(setup)}
	for range 60 {
		c.step(t)
	}
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
	for _, e := range c.step(t, o) {
		if e.Order == o.ID && (e.Kind == bay.OrderTaken || e.Kind == bay.OrderRefused) {
			return e
		}
	}
	t.Fatalf("the core does not answer %+v", o)
	return bay.Event{}
}

func (c *Core) step(t testing.TB, orders ...order.Order) []bay.Event {
	t.Helper()
	c.now += time.Second
	_, events := c.bay.Step(&bay.Readings{
		Now: c.now, PackV: reading.Good(25.2, c.now), CurrentA: reading.Good(0, c.now), PackC: reading.Good(25, c.now),
		AmbientC: reading.Good(21, c.now), Level: reading.LevelBetween(6, 6, c.now), Orders: orders,
	})
	return events
}
