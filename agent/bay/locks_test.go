package bay_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/order"
)

// lockOrders are those that decide about locks.
var lockOrders = []order.Kind{order.Hold, order.Unhold, order.LockRemove, order.VisitOpen, order.VisitJoin, order.VisitLeave, order.VisitClose}

// crew is a calm bay at which several people work.
type crew struct {
	*baytest.Driver
	hasp  hasp
	setup bay.Setup
	ids   int
	born  time.Duration // of the last restart
}

func newCrew(delay time.Duration) *crew {
	s := baytest.Setup("bay-1")
	s.Limits.CloseDelay, s.Limits.OffMin, s.Limits.SettleFor = delay, 5*time.Second, 5*time.Second
	return &crew{Driver: baytest.New(s), setup: s}
}

// does gives one order of a person and reports whether it was taken.
func (c *crew) does(by string, o order.Order) (*bay.Picture, bay.Event) {
	c.ids++
	o.ID, o.By = fmt.Sprint("o", c.ids), by
	p, events := c.Tick(o)
	e := answer(events)
	if e.Kind == bay.OrderTaken {
		c.hasp.turn(&o, c.Now)
	}
	return p, e
}

func answer(events []bay.Event) bay.Event {
	for _, e := range events {
		if e.Kind == bay.OrderTaken || e.Kind == bay.OrderRefused {
			return e
		}
	}
	return bay.Event{}
}

// restart begins again with what was stored.
func (c *crew) restart(t require.TestingT) {
	text, err := json.Marshal(c.Core.Memory())
	require.NoError(t, err)
	var m bay.Memory
	require.NoError(t, json.Unmarshal(text, &m))
	c.Core, c.born = bay.New(c.setup), c.Now
	require.NoError(t, c.Core.Restore(&m, c.Now+time.Second, time.Second, true))
}

// TestNobodyIsLockedIn: whatever orders anybody gives, in whatever order, and
// through restarts, the permit is not granted while a lock is on the hasp or people
// are still stepping back. Once all are off and the time is over, it is.
func TestNobodyIsLockedIn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		delay := time.Duration(rapid.IntRange(10, 90).Draw(t, "delay")) * time.Second
		c := newCrew(delay)
		c.Run(20 * time.Second)
		people := []string{"Ana", "Ben", "Cho", ""}
		for range rapid.IntRange(1, 30).Draw(t, "orders") {
			p, _ := c.does(rapid.SampledFrom(people[:3]).Draw(t, "by"), order.Order{
				Kind: rapid.SampledFrom(lockOrders).Draw(t, "kind"), Lock: rapid.SampledFrom([]string{"hold", "visit"}).Draw(t, "lock"),
				Of: rapid.SampledFrom(people).Draw(t, "of"), Reason: rapid.SampledFrom([]string{"gone home", ""}).Draw(t, "reason"),
				NobodyAtPack: rapid.IntRange(0, 2).Draw(t, "nobody") > 0,
			})
			c.check(t, p, delay)
			for range rapid.IntRange(0, 120).Draw(t, "wait") {
				p, _ := c.Tick()
				c.check(t, p, delay)
			}
			if rapid.IntRange(0, 9).Draw(t, "restart") == 0 {
				c.restart(t)
			}
		}
	})
}

func (c *crew) check(t *rapid.T, p *bay.Picture, delay time.Duration) {
	locked, waits := c.hasp.inForce(), c.hasp.waits(c.Now, delay)
	if p.Permit.Granted && (locked || waits) {
		t.Fatalf("granted at %v with %v on the hasp, stepping back %v", c.Now, c.hasp.locks, waits)
	}
	if p.Findings[interlock.Held].Raised != c.hasp.held() || p.Visit.Open != c.hasp.visited() {
		t.Fatalf("held %v, visit %v with %v", p.Findings[interlock.Held].Raised, p.Visit.Open, c.hasp.locks)
	}
	if !locked && c.Now-max(c.hasp.at, c.born) > delay+time.Minute && !p.Permit.Granted {
		t.Fatalf("not granted at %v: %v", c.Now, p.Codes())
	}
}

// TestTheDelayAfterTheLastLock counts down to the second, and starts again when
// somebody comes back.
func TestTheDelayAfterTheLastLock(t *testing.T) {
	c := newCrew(40 * time.Second)
	require.True(t, c.Run(20*time.Second).Permit.Granted)
	c.does("Ana", order.Order{Kind: order.VisitOpen})
	c.does("Ben", order.Order{Kind: order.Hold})
	c.Run(time.Minute)
	p, _ := c.does("Ana", order.Order{Kind: order.VisitClose})
	require.False(t, p.Findings[interlock.CloseDelay].Raised, "Ben still holds")
	p, _ = c.does("Ben", order.Order{Kind: order.Unhold})
	require.Equal(t, interlock.CloseDelay, p.FirstReason())
	require.Equal(t, interlock.Evidence{Value: 40, Limit: 40}, p.Findings[interlock.CloseDelay].Evidence)
	p = c.Run(39 * time.Second)
	require.InDelta(t, 1, p.Findings[interlock.CloseDelay].Evidence.Value, 0)
	require.False(t, p.Permit.Granted)
	c.does("Ana", order.Order{Kind: order.Hold, Reason: "wait"})
	c.does("Ana", order.Order{Kind: order.Unhold})
	require.False(t, c.Run(39*time.Second).Permit.Granted)
	require.True(t, c.Run(time.Second).Permit.Granted)
	require.True(t, c.Run(time.Hour).Permit.Granted)
}

// TestTheDelayOutlivesARestart: what was left of it starts again.
func TestTheDelayOutlivesARestart(t *testing.T) {
	c := newCrew(100 * time.Second)
	c.does("Ana", order.Order{Kind: order.Hold})
	c.does("Ana", order.Order{Kind: order.Unhold})
	c.Run(99 * time.Second)
	c.restart(t)
	require.False(t, c.Run(99*time.Second).Permit.Granted)
	require.True(t, c.Run(5*time.Second).Permit.Granted)
	c.restart(t)
	require.True(t, c.Run(20*time.Second).Permit.Granted, "it is over, and stays over")
}

// TestLocksAreShown: who holds since when and why, in pictures that do not change
// under their readers.
func TestLocksAreShown(t *testing.T) {
	c := newCrew(time.Minute)
	c.does("Ana", order.Order{Kind: order.Hold, Reason: "contactor smells"})
	p, _ := c.does("Ben", order.Order{Kind: order.Hold})
	first := p.Clone()
	c.does("Ana", order.Order{Kind: order.Hold, Reason: "contactor burnt"})
	c.does("Ben", order.Order{Kind: order.Unhold})
	require.Equal(t, bay.Locks{{By: "Ana", Since: time.Second, Reason: "contactor smells"}, {By: "Ben", Since: 2 * time.Second}}, first.Holds)
	p, _ = c.Tick()
	require.Equal(t, bay.Locks{{By: "Ana", Since: time.Second, Reason: "contactor burnt"}}, p.Holds)
	c.does("Ben", order.Order{Kind: order.VisitOpen})
	p, _ = c.does("Cho", order.Order{Kind: order.VisitJoin})
	require.Equal(t, "Ben, Cho", p.Visit.People.Names())
	before := p.Clone()
	c.restart(t)
	p, _ = c.Tick()
	require.Equal(t, before.Holds, p.Holds)
	require.Equal(t, before.Visit.People, p.Visit.People)
}

// TestALockIsTakenAway leaves the visit open: caps and record are not confirmed.
func TestALockIsTakenAway(t *testing.T) {
	c := newCrew(time.Minute)
	c.does("Ana", order.Order{Kind: order.VisitOpen})
	p, e := c.does("Boss", order.Order{Kind: order.LockRemove, Lock: order.LockVisit, Of: "Ana", Reason: "gone home", NobodyAtPack: true})
	require.Equal(t, bay.OrderTaken, e.Kind)
	require.True(t, p.Visit.Open)
	require.Empty(t, p.Visit.People)
	c.restart(t)
	p, _ = c.Tick()
	require.Empty(t, p.Visit.People, "nobody is in it after a restart either")
	_, e = c.does("Boss", order.Order{Kind: order.VisitClose})
	require.Equal(t, bay.OrderTaken, e.Kind)
}

// TestAHoldStoredWithoutAName comes back as that of a person who is not known.
func TestAHoldStoredWithoutAName(t *testing.T) {
	c := newCrew(time.Minute)
	c.does("Ana", order.Order{Kind: order.Hold})
	c.does("Ben", order.Order{Kind: order.VisitOpen})
	m := c.Core.Memory()
	m.Holds, m.Visit.People = nil, nil
	m.Seal()
	c.Core = bay.New(c.setup)
	require.NoError(t, c.Core.Restore(&m, c.Now, 0, true))
	p, e := c.does("Ana", order.Order{Kind: order.Unhold})
	require.Equal(t, order.NotYourLock, e.Why.Code)
	require.Equal(t, "", p.Holds[0].By)
	require.Equal(t, "Ben", p.Visit.People.Names())
	_, e = c.does("Ana", order.Order{Kind: order.LockRemove, Lock: order.LockHold, Reason: "checked", NobodyAtPack: true})
	require.Equal(t, bay.OrderTaken, e.Kind)
	p, _ = c.Tick()
	require.Empty(t, p.Holds)
}

// TestTooManyLocks: what does not fit blocks without a name.
func TestTooManyLocks(t *testing.T) {
	c := newCrew(time.Minute)
	var p *bay.Picture
	for i := range 40 {
		p, _ = c.does(fmt.Sprint("Person ", i), order.Order{Kind: order.Hold})
	}
	require.Len(t, p.Holds, 17)
	require.Equal(t, "", p.Holds[16].By)
	for i := range 16 {
		p, _ = c.does(fmt.Sprint("Person ", i), order.Order{Kind: order.Unhold})
	}
	require.True(t, p.Findings[interlock.Held].Raised)
}
