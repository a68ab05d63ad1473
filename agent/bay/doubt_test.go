package bay_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/order"
)

// TestEveryDoubtHolds: whatever is doubted about a record, with a memory or without
// one, the bay is held through every restart until a person removes the hold.
func TestEveryDoubtHolds(t *testing.T) {
	for d := bay.NoDoubt + 1; d < bay.NumDoubts; d++ {
		for _, restored := range []bool{false, true} {
			t.Run(fmt.Sprint(d, restored), func(t *testing.T) {
				c := newCrew(10 * time.Second)
				if restored {
					c.Run(time.Minute)
					c.restart(t)
				}
				c.Core.Doubt(d, "")
				p, events := c.Tick()
				require.Equal(t, bay.MemoryDoubted, events[0].Kind)
				require.Equal(t, d, events[0].Doubt)
				reason := interlock.Forgotten
				if d == bay.BayNew {
					reason = interlock.NewBay
				}
				for range 3 {
					require.Equal(t, reason, p.Findings[interlock.Held].Evidence.Reason)
					require.False(t, c.Run(10*time.Minute).Permit.Granted)
					c.restart(t)
					p, events = c.Tick()
					for _, e := range events {
						require.NotEqual(t, bay.MemoryDoubted, e.Kind, "it is reported once")
					}
				}
				_, e := c.does("Ana", order.Order{Kind: order.LockRemove, Lock: order.LockHold, Reason: "looked at it", NobodyAtPack: true})
				require.Equal(t, bay.OrderTaken, e.Kind)
				require.True(t, c.Run(time.Minute).Permit.Granted)
				c.restart(t)
				require.True(t, c.Run(time.Minute).Permit.Granted)
			})
		}
	}
}

// TestCommissioned: a signed walk lets a bay go that is only new, and no other.
func TestCommissioned(t *testing.T) {
	for name, row := range map[string]struct {
		before func(c *crew)
		goes   bool
	}{
		"a new bay":                    {func(c *crew) { c.Core.Doubt(bay.BayNew, "") }, true},
		"one whose record is doubted":  {func(c *crew) { c.Core.Doubt(bay.LogbookCopied, "") }, false},
		"a new one, and then doubted":  {func(c *crew) { c.Core.Doubt(bay.BayNew, ""); c.Core.Doubt(bay.LogbookOlder, "") }, false},
		"one that a person has held":   {func(c *crew) { c.does("Ana", order.Order{Kind: order.Hold}) }, false},
		"a new one that somebody held": {func(c *crew) { c.Core.Doubt(bay.BayNew, ""); c.does("Ana", order.Order{Kind: order.Hold}) }, false},
		"one with an open visit":       {func(c *crew) { c.Run(20 * time.Second); c.does("Ana", order.Order{Kind: order.VisitOpen}) }, false},
	} {
		t.Run(name, func(t *testing.T) {
			c := newCrew(10 * time.Second)
			row.before(c)
			c.Tick()
			c.restart(t)
			c.Core.Commissioned()
			require.Equal(t, row.goes, c.Run(2*time.Minute).Permit.Granted)
			c.restart(t)
			require.Equal(t, row.goes, c.Run(2*time.Minute).Permit.Granted)
		})
	}
}

// TestADamagedMemoryOfANewBay: the hold of a new bay is no way around a doubt.
func TestADamagedMemoryOfANewBay(t *testing.T) {
	c := newCrew(10 * time.Second)
	c.Core.Doubt(bay.BayNew, "")
	c.Tick()
	m := c.Core.Memory()
	require.True(t, m.New)
	m.PermitS++
	again := newCrew(10 * time.Second)
	require.Error(t, again.Core.Restore(&m, time.Second, time.Second, true))
	again.Core.Commissioned()
	require.False(t, again.Run(2*time.Minute).Permit.Granted)
}
