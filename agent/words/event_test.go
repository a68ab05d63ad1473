package words

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// events returns one event of each kind, in each of its variants. What an order
// did and why one is refused have their own tests.
func events() []bay.Event {
	all := []bay.Event{
		{Kind: bay.PermitGranted}, {Kind: bay.ChargeStarted}, {Kind: bay.PackLeft, Pack: "lift-a"},
	}
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		all = append(all, bay.Event{Kind: bay.FindingCleared, Code: c})
		for _, r := range append([]interlock.Reason{interlock.Usual}, interlock.Table[c].Reasons...) {
			e := interlock.Evidence{Value: -4, Limit: 3, Fault: reading.Open, Reason: r}
			all = append(all, bay.Event{Kind: bay.FindingRaised, Code: c, Evidence: e}, bay.Event{Kind: bay.PermitBlocked, Code: c, Evidence: e})
		}
	}
	for s := bay.StageUnknown; s < bay.NumStages; s++ {
		for r := cooldown.NothingLeft; r < cooldown.NumReasons; r++ {
			all = append(all, bay.Event{Kind: bay.StageChanged, Stage: s, WaitingFor: r, WaterML: 120})
		}
	}
	for e := charge.NoEvidence + 1; e.String() != ""; e++ {
		all = append(all, bay.Event{Kind: bay.ChargeFull, Proof: e})
	}
	for _, e := range []charge.Evidence{charge.NoEvidence, charge.HandGravity} {
		all = append(all, bay.Event{Kind: bay.ChargeEnded, Proof: e, Ago: time.Hour}, bay.Event{Kind: bay.ChargeEnded, Proof: e, InAh: 50, InAhKnown: true})
	}
	for d := bay.NoDoubt; d < bay.NumDoubts; d++ {
		all = append(all, bay.Event{Kind: bay.MemoryDoubted, Doubt: d, File: "/l.db"}, bay.Event{Kind: bay.MemoryDoubted, Doubt: d, Pack: "lift-a"})
	}
	for n := bay.ByConfig; n <= bay.ByPerson; n++ {
		all = append(all, bay.Event{Kind: bay.PackNamed, Pack: "lift-a", Naming: n})
	}
	for k := order.None + 1; k < order.NumKinds; k++ {
		o := order.Order{Kind: k, By: "Ann", Note: "A remark."}
		all = append(all, bay.Event{Kind: bay.OrderTaken, By: "Ann", Asked: o},
			bay.Event{Kind: bay.OrderRefused, By: "Ann", Asked: o, Why: order.Refusal{Code: order.NoVisit, Kind: k}})
	}
	for _, plates := range []bool{false, true} {
		all = append(all, bay.Event{Kind: bay.VisitOpened, By: "Ann", Plates: plates}, bay.Event{Kind: bay.VisitClosed, By: "Ann", WaterML: 1320})
	}
	all = append(all, bay.Event{Kind: bay.ZeroMoved, ZeroA: -1.5})
	return all
}

// TestEveryEventIsSaid: each kind in each of its variants, in every language and
// system of units.
func TestEveryEventIsSaid(t *testing.T) {
	kinds := map[bay.EventKind]bool{}
	for _, v := range voices() {
		for _, e := range events() {
			kinds[e.Kind] = true
			whole(t, v.Event(&e), v.Language(), e.Kind)
			whole(t, v.EventTitle(&e), v.Language(), e.Kind)
		}
		whole(t, v.EventTitle(&bay.Event{}), v.Language())
	}
	for k := bay.NoEvent + 1; k < bay.NumEvents; k++ {
		require.True(t, kinds[k], "no event %s in this test", k)
	}
}
