package bay_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
	"bayward/agent/order/ordertest"
	"bayward/agent/reading"
)

// TestEveryOrderInTheCore: each order is taken once, it is refused outside a
// visit if it needs one, and the core then holds what was ordered.
func TestEveryOrderInTheCore(t *testing.T) {
	ordertest.Each(t, func(t *testing.T, o order.Order) {
		o.ID, o.By = "x-1", "A. Person"
		core := ordertest.NewCore(t, o.Kind)
		e := core.Ask(t, o)
		require.Equal(t, bay.OrderTaken, e.Kind, e.Why.Code)
		require.Equal(t, o, e.Asked)
		again := core.Ask(t, o)
		require.Equal(t, bay.OrderRefused, again.Kind)
		if !o.Kind.Row().InVisit || o.Kind == order.Fill || o.Kind == order.Quality {
			require.Equal(t, order.Refusal{Code: order.Repeated, Kind: o.Kind}, again.Why)
		}
		if o.Kind.Row().InVisit {
			e := ordertest.NewCore(t, order.Hold).Ask(t, o)
			require.Equal(t, order.Refusal{Code: order.NoVisit, Kind: o.Kind}, e.Why)
		}
	})
}

// TestEveryBoundInTheCore: each number at its bounds and just beyond.
func TestEveryBoundInTheCore(t *testing.T) {
	ordertest.Each(t, func(t *testing.T, o order.Order) {
		for _, at := range ordertest.Bounds(o, ordertest.Cells) {
			at.ID, at.By = "x-1", "A. Person"
			e := ordertest.NewCore(t, o.Kind).Ask(t, at.Order)
			require.Equal(t, at.Beyond, e.Kind == bay.OrderRefused, "%+v: %s", at.Order, e.Why.Code)
			if at.Beyond {
				want := order.OutOfRange
				if at.Field == order.LevelField && at.Value < 0 {
					want = order.BelowTops
				}
				require.Equal(t, want, e.Why.Code)
				require.Equal(t, at.Field, e.Why.Field)
				require.InDelta(t, at.Value, e.Why.Value, 0)
			}
		}
	})
}

// stand is one bay in the state that a refusal needs.
type stand struct {
	setup  func(*bay.Setup)
	before []order.Order
	read   func(*bay.Readings)
	ask    order.Order
	want   order.Refusal
}

func packs(s *bay.Setup) {
	other := s.Pack
	other.Name = "lift-b"
	s.Packs, s.Pack = []bay.Pack{s.Pack, other}, bay.Pack{}
}

func recognised(s *bay.Setup) { packs(s); s.Recognises = true }

// watched has a watchdog relay in series with the charge-enable relay.
func watched(s *bay.Setup) { s.Watchdog.Line = "GPIO27" }

func unplugged(r *bay.Readings) { r.PackV = reading.Good(0, r.Now) }

func named(name string) order.Order { return order.Order{Kind: order.Pack, Pack: name} }

var (
	visited = []order.Order{{Kind: order.VisitOpen}}
	joined  = []order.Order{{Kind: order.VisitOpen}, {Kind: order.VisitJoin, By: "B. Person", ID: "joined"}}
)

// cut takes away the lock of somebody else in the visit.
func cut(sure bool) order.Order {
	return order.Order{Kind: order.LockRemove, Lock: order.LockVisit, Of: "B. Person", Reason: "gone home", NobodyAtPack: sure}
}

// dry4 is an entry before the one that a case is about.
var dry4 = order.Order{ID: "before-2", Kind: order.Entry, Cells: []order.CellEntry{{Cell: 4, Dry: true}}}

// refusals covers every refusal that a core can give. Only the edges find what is
// missing or stray in a message.
var refusals = map[order.Code]stand{
	order.NoID:        {ask: order.Order{Kind: order.Hold, ID: "none"}, want: order.Refusal{Kind: order.Hold}},
	order.NoPerson:    {ask: order.Order{Kind: order.Hold, By: "none"}, want: order.Refusal{Kind: order.Hold}},
	order.NoSuchOrder: {},
	order.Repeated:    {before: []order.Order{{Kind: order.Hold, ID: "x"}}, ask: order.Order{Kind: order.Fill, Cell: 1, ID: "x"}, want: order.Refusal{Kind: order.Fill}},
	order.NothingSaid: {ask: order.Order{Kind: order.Quality, Unmeasured: true}, want: order.Refusal{Kind: order.Quality}},
	order.OutOfRange: {
		ask:  order.Order{Kind: order.Level, Cell: 13},
		want: order.Refusal{Kind: order.Level, Field: order.CellField, Value: 13, Low: 1, High: 12},
	},
	order.BadText: {
		ask:  order.Order{Kind: order.Quality, Water: "tap"},
		want: order.Refusal{Kind: order.Quality, Field: order.WaterField, Low: 1, High: 13, Name: "tap"},
	},
	order.NoVisit:     {ask: order.Order{Kind: order.Fill, Cell: 1}, want: order.Refusal{Kind: order.Fill}},
	order.VisitIsOpen: {before: []order.Order{{Kind: order.VisitOpen}}, ask: order.Order{Kind: order.VisitOpen}, want: order.Refusal{Kind: order.VisitOpen, Name: "A. Person"}},
	order.PackUnknown: {setup: packs, ask: order.Order{Kind: order.VisitOpen}, want: order.Refusal{Kind: order.VisitOpen}},
	order.NoPack:      {read: unplugged, ask: order.Order{Kind: order.Gravity, Cell: 1, Gravity: 1.2, AtC: 20}, want: order.Refusal{Kind: order.Gravity}},
	order.OnePack:     {ask: named("lift-a"), want: order.Refusal{Kind: order.Pack, Name: "lift-24v"}},
	order.NoSuchPack:  {setup: packs, ask: named("lift-x"), want: order.Refusal{Kind: order.Pack, Name: "lift-x"}},
	order.PackElsewhere: {
		setup: packs, read: func(r *bay.Readings) { r.Taken = []string{"lift-b"} },
		ask: named("lift-b"), want: order.Refusal{Kind: order.Pack, Name: "lift-b"},
	},
	order.SensorsDisagree: {
		setup: recognised, read: func(r *bay.Readings) { r.Pack = bay.PackSeen{At: r.Now, Fault: reading.Contradictory} },
		ask: named("lift-b"), want: order.Refusal{Kind: order.Pack},
	},
	order.OtherPackSensed: {
		setup: recognised, read: func(r *bay.Readings) { r.Pack = bay.PackSeen{Name: "lift-24v", At: r.Now, Fault: reading.None} },
		ask: named("lift-b"), want: order.Refusal{Kind: order.Pack, Name: "lift-24v"},
	},
	order.AboveVentWell: {
		ask:  order.Order{Kind: order.Level, Cell: 1, LevelMM: 60},
		want: order.Refusal{Kind: order.Level, Cell: 1, Field: order.LevelField, Value: 60, High: 22},
	},
	order.TemperatureUnknown: {
		read: func(r *bay.Readings) { r.PackC = reading.Bad(reading.Open, r.Now) },
		ask:  order.Order{Kind: order.Level, Cell: 1, LevelMM: 6}, want: order.Refusal{Kind: order.Level, Cell: 1, Field: order.LevelField, Value: 6, High: 22},
	},
	order.NotConfirmed: {before: joined, ask: cut(false), want: order.Refusal{Kind: order.LockRemove, Field: order.NobodyField}},
	order.NoSuchLock:   {before: visited, ask: cut(true), want: order.Refusal{Kind: order.LockRemove, Name: "B. Person"}},
	order.NotYourLock:  {before: []order.Order{{Kind: order.Hold, By: "B. Person"}}, ask: order.Order{Kind: order.Unhold}, want: order.Refusal{Kind: order.Unhold, Name: "B. Person"}},
	order.InVisit:      {before: visited, ask: order.Order{Kind: order.VisitJoin}, want: order.Refusal{Kind: order.VisitJoin, Name: "A. Person"}},
	order.OtherPack: {
		ask:  order.Order{Kind: order.Correct, Cell: 4, Field: "ml", Visit: 17, Pack: "lift-b", Was: new(110.0), Reason: "a slip"},
		want: order.Refusal{Kind: order.Correct, Name: "lift-b"},
	},
	order.NothingToCorrect: {
		before: []order.Order{{Kind: order.VisitOpen}}, ask: order.Order{Kind: order.Correct, Cell: 4, Field: "level_mm", Value: new(9.0), Reason: "a slip"},
		want: order.Refusal{Kind: order.Correct, Cell: 4, Field: order.LevelField},
	},
	order.NoRecord: {
		before: []order.Order{{Kind: order.Hold}}, ask: order.Order{Kind: order.Unhold},
		read: func(r *bay.Readings) { r.NoRecord = true }, want: order.Refusal{Kind: order.Unhold},
	},
	order.PackConnected: {
		setup: watched, read: func(r *bay.Readings) { r.ContactorClosed = reading.Good(1, r.Now) },
		ask: order.Order{Kind: order.Release}, want: order.Refusal{Kind: order.Release},
	},
	order.NothingOverfilled: {ask: order.Order{Kind: order.Accept, Reason: "so be it"}, want: order.Refusal{Kind: order.Accept}},
	order.LastInVisit:       {before: visited, ask: order.Order{Kind: order.VisitLeave}, want: order.Refusal{Kind: order.VisitLeave}},
	order.OthersInVisit:     {before: joined, ask: order.Order{Kind: order.VisitClose}, want: order.Refusal{Kind: order.VisitClose, Name: "B. Person"}},
	order.LevelUnknown: {
		read: func(r *bay.Readings) { r.Level = reading.Level{At: r.Now, Fault: reading.Open} },
		ask:  order.Order{Kind: order.Level, Cell: 1, LevelMM: 6}, want: order.Refusal{Kind: order.Level, Cell: 1, Field: order.LevelField, Value: 6, High: 22},
	},
	order.CellTwice: {
		ask:  order.Order{Kind: order.Entry, Cells: []order.CellEntry{{Cell: 4, Dry: true}, {Cell: 4, LevelMM: new(6.0)}}},
		want: order.Refusal{Kind: order.Entry, Cell: 4, Field: order.CellField, Value: 4},
	},
	order.DryAndLevel: {
		ask:  line(order.CellEntry{Cell: 4, Dry: true, LevelMM: new(6.0)}),
		want: order.Refusal{Kind: order.Entry, Cell: 4, Field: order.DryField},
	},
	order.BelowTops: {
		ask:  order.Order{Kind: order.Level, Cell: 4, LevelMM: -12},
		want: order.Refusal{Kind: order.Level, Field: order.LevelField, Value: -12, High: 200},
	},
	// The pack stands 6 mm above the plate tops at 25 °C. With 13 ml a millimetre and
	// the bottom of the vent well at 22 mm, less the rise to 51 °C (1.5 mm: 5.66e-4 per
	// °C of 1350 ml), gas and a margin of 4 mm, the ceiling is at 22-1.53-4 = 16.5 mm.
	order.AskOverCeiling: {
		before: []order.Order{{Kind: order.VisitOpen}}, ask: line(order.CellEntry{Cell: 4, LevelMM: new(17.0)}),
		want: order.Refusal{Kind: order.Entry, Cell: 4, Field: order.LevelField, Value: 17, High: ceilingMM},
	},
	order.AskPastCeiling: {
		before: []order.Order{{Kind: order.VisitOpen}}, ask: line(order.CellEntry{Cell: 4, ML: new(500.0)}),
		want: order.Refusal{Kind: order.Entry, Cell: 4, Field: order.MLField, Value: 500, High: 135}, // 13 * (16.43 - 6)
	},
	order.AskContradicts: {
		before: []order.Order{{Kind: order.VisitOpen}, {Kind: order.Level, Cell: 4, LevelMM: 2, ID: "before-2"}},
		ask:    line(order.CellEntry{Cell: 4, ML: new(26.0), LevelMM: new(12.0)}), // 2 + 2, and 3 mm and 30 % of the rise to either side
		want:   order.Refusal{Kind: order.Entry, Cell: 4, Field: order.LevelField, Value: 12, Low: 0, High: 8},
	},
	order.AskBare: {
		before: []order.Order{{Kind: order.VisitOpen}, dry4},
		ask:    order.Order{Kind: order.Fill, Cell: 4}, // 13 * 4: from the tops to 1 mm over the level for charging
		want:   order.Refusal{Kind: order.Fill, Cell: 4, Field: order.MLField, Low: 52},
	},
	order.AskLittle: {
		before: []order.Order{{Kind: order.VisitOpen}, dry4},
		ask:    order.Order{Kind: order.Fill, Cell: 4, ML: 3.7},
		want:   order.Refusal{Kind: order.Fill, Cell: 4, Field: order.MLField, Value: 3.7, Low: 52, High: 52},
	},
	order.AskMuch: {
		before: []order.Order{{Kind: order.VisitOpen}}, // which only covers the plates, and they are covered
		ask:    order.Order{Kind: order.Fill, Cell: 4, ML: 31},
		want:   order.Refusal{Kind: order.Fill, Cell: 4, Field: order.MLField, Value: 31},
	},
	order.GivenMeanwhile: {
		before: []order.Order{{Kind: order.VisitOpen}, {Kind: order.Fill, Cell: 4, ML: 70, ID: "other phone", Sure: true}},
		ask:    line(order.CellEntry{Cell: 4, ML: new(110.0), SeenML: new(0.0)}),
		want:   order.Refusal{Kind: order.Entry, Cell: 4, Field: order.SeenField, Value: 70},
	},
}

// line is an entry of one line.
func line(c order.CellEntry) order.Order {
	return order.Order{Kind: order.Entry, Cells: []order.CellEntry{c}}
}

// TestEveryRefusal: the core gives each code with its numbers, and a refused
// order changes nothing.
func TestEveryRefusal(t *testing.T) {
	for c := order.NoCode + 1; c < order.NumCodes; c++ {
		if c == order.Missing || c == order.Stray {
			continue
		}
		t.Run(c.String(), func(t *testing.T) {
			s, ok := refusals[c]
			require.True(t, ok, "no case gets the refusal %s: add one to refusals", c)
			s.want.Code = c
			e := s.refused(t)
			require.Equal(t, bay.OrderRefused, e.Kind)
			require.Equal(t, s.want, e.Why)
		})
	}
}

func (s *stand) refused(t *testing.T) bay.Event {
	t.Helper()
	setup := baytest.Setup("bay-1")
	if s.setup != nil {
		s.setup(&setup)
	}
	d := baytest.New(setup)
	d.Change = s.read
	d.Run(time.Minute)
	for _, o := range s.before {
		d.Tick(signedBy(o, "before"))
	}
	before := d.Core.Memory()
	_, events := d.Tick(signedBy(s.ask, "asked"))
	for _, e := range events {
		if e.Kind == bay.OrderRefused || e.Kind == bay.OrderTaken {
			after := d.Core.Memory()
			require.Equal(t, before.Visit == nil, after.Visit == nil)
			require.Equal(t, before.OrderIDs, after.OrderIDs)
			require.Len(t, after.Holds, len(before.Holds))
			return e
		}
	}
	t.Fatal("the core does not answer")
	return bay.Event{}
}

// ceilingMM is the highest level for a charge of the pack above, at 25 °C.
const ceilingMM = 16.43643088854427

// TestTheCeilingByHand: the figure that the core asks at, from the slope of Myhre,
// Nielsen and Saastad (1998), 5.66e-4 per °C at gravity 1.28.
func TestTheCeilingByHand(t *testing.T) {
	require.InDelta(t, 22-1350*5.66e-4*(51-25)/13-3-1, ceilingMM, 0.1)
}

// signedBy fills in the person and the ID; "none" leaves both empty.
func signedBy(o order.Order, id string) order.Order {
	for place, otherwise := range map[*string]string{&o.ID: id, &o.By: "A. Person"} {
		switch *place {
		case "":
			*place = otherwise
		case "none":
			*place = ""
		}
	}
	return o
}
