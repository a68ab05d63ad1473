package bay_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// cutter is a bay whose power is cut again and again. It saves its memory as the loop
// does: with each event, and every ten minutes.
type cutter struct {
	*baytest.Driver
	every, off     time.Duration
	proven         bool
	volts, amps    float64 // on charge
	saved          []byte
	savedAt, upAt  time.Duration
	deliveredS     float64 // counted here, while the contactor is closed
	overrun, fulls bool    // so far
	pulled         bool    // the plug
	ticks          int     // for sensors that live
}

const cutterTick = 10 * time.Second

func newCutter(volts, amps float64) *cutter {
	return &cutter{Driver: baytest.New(baytest.Setup("bay-1")), every: 1e6 * time.Hour, volts: volts, amps: amps}
}

// tick is ten seconds, or a power cut.
func (c *cutter) tick(t *testing.T) *bay.Picture {
	t.Helper()
	if c.Now-c.upAt >= c.every {
		c.cut(t)
	}
	c.Now += cutterTick - time.Second // a tick is one more
	c.ticks++
	phase := 2 * math.Pi * (time.Duration(c.ticks) * cutterTick).Hours()
	c.Values.PackC, c.Values.LevelMM = 25+math.Sin(phase), 6+math.Sin(phase/3)
	c.Values.PackV, c.Values.CurrentA = 25.2, 0
	if c.pulled {
		c.Values.PackV = 0
	} else if c.Values.Closed {
		c.Values.PackV, c.Values.CurrentA = c.volts, c.amps
		c.deliveredS += cutterTick.Seconds()
	}
	p, events := c.Tick()
	c.overrun = c.overrun || p.Findings[interlock.ChargeOverrun].Raised
	c.fulls = c.fulls || p.Charge.Full
	if len(events) > 0 || c.saved == nil || c.Now-c.savedAt >= bay.SavedWithin {
		m := c.Core.Memory()
		text, err := json.Marshal(&m)
		require.NoError(t, err)
		c.saved, c.savedAt = text, c.Now
	}
	return p
}

func (c *cutter) cut(t *testing.T) {
	t.Helper()
	var m bay.Memory
	require.NoError(t, json.Unmarshal(c.saved, &m))
	gap := c.Now - c.savedAt + c.off
	c.Now += c.off
	if !c.proven {
		gap, c.Now = 0, 0 // the clock of another boot
	}
	c.Core = bay.New(baytest.Setup("bay-1"))
	require.NoError(t, c.Core.Restore(&m, c.Now, gap, c.proven))
	c.upAt, c.savedAt, c.Values.Closed = c.Now, c.Now-gap, false
}

// TestChargeUnderPowerCuts: a charge that never ends is an overrun after as many hours
// as without a power cut, however often the power fails and for however long.
func TestChargeUnderPowerCuts(t *testing.T) {
	limit := bay.DefaultLimits().ChargeMax
	for _, every := range []int{2, 3, 5, 9, 11, 12, 19, 31, 55, 91, 119, 240, 600} {
		for _, off := range []time.Duration{5 * time.Second, 20 * time.Minute} {
			for _, proven := range []bool{true, false} {
				c := newCutter(28.8, 10)
				c.every, c.off, c.proven = time.Duration(every)*time.Minute, off, proven
				for !c.overrun && c.deliveredS <= limit.Seconds() {
					c.tick(t)
				}
				require.True(t, c.overrun, "%v of charge, the power cut every %v for %v, proven: %v", time.Duration(c.deliveredS)*time.Second, c.every, off, proven)
				if every >= 31 {
					require.Greater(t, c.deliveredS, limit.Seconds()*0.6, "and not much sooner: every %v for %v, proven: %v", c.every, off, proven)
				}
			}
		}
	}
}

// TestOverchargeUnderPowerCuts: the same after full, of which each cut leaves nothing
// else.
func TestOverchargeUnderPowerCuts(t *testing.T) {
	const limit = 8 * time.Hour
	for _, every := range []int{2, 5, 9, 55, 85, 110, 250} {
		for _, proven := range []bool{true, false} {
			c := newCutter(30.6, 3)
			for !c.fulls {
				c.tick(t)
			}
			c.deliveredS, c.upAt = 0, c.Now
			c.every, c.off, c.proven = time.Duration(every)*time.Minute, 20*time.Minute, proven
			for !c.overrun && c.deliveredS <= limit.Seconds()+cutterTick.Seconds() {
				c.tick(t)
			}
			require.True(t, c.overrun, "%v after full, the power cut every %v, proven: %v", time.Duration(c.deliveredS)*time.Second, c.every, proven)
		}
	}
}

// TestOverrunUnderAPulledPlug: a plug that is pulled and put back proves nothing.
func TestOverrunUnderAPulledPlug(t *testing.T) {
	c := newCutter(28.8, 10)
	for i := 0; !c.overrun && c.deliveredS <= c.limitS(); i++ {
		c.pulled = i%2000 < 3
		c.tick(t)
	}
	require.True(t, c.overrun)
}

func (c *cutter) limitS() float64 { return bay.DefaultLimits().ChargeMax.Seconds() }

// TestALongPauseEndsTheCount: eight hours on a clock that ran prove that it is another
// charge, also where the power failed in them.
func TestALongPauseEndsTheCount(t *testing.T) {
	for name, cuts := range map[string]bool{"running": false, "cut in the pause": true} {
		c := newCutter(28.8, 10)
		for range 12 * 360 {
			c.tick(t)
		}
		c.amps, c.volts = 0, 25.2
		for range 5 * 360 {
			c.tick(t)
		}
		if cuts { // while nothing may flow
			c.Ask(order.Order{Kind: order.Hold})
			c.saved = nil
			c.tick(t)
			c.cut(t)
			c.Ask(order.Order{Kind: order.Unhold})
		}
		for range 4 * 360 {
			c.tick(t)
		}
		c.amps, c.volts = 10, 28.8
		for range 12 * 360 {
			c.tick(t)
		}
		require.False(t, c.overrun, name)
		for range 7 * 360 {
			c.tick(t)
		}
		require.True(t, c.overrun, name)
	}
}

// TestAReleaseStartsTheCount: a person has looked; a restart does not bring it back.
func TestAReleaseStartsTheCount(t *testing.T) {
	c := newCutter(28.8, 10)
	for !c.overrun {
		c.tick(t)
	}
	for range 200 { // the charge has ended
		c.tick(t)
	}
	c.Ask(order.Order{Kind: order.Release})
	c.overrun, c.deliveredS, c.saved = false, 0, nil
	c.tick(t)
	c.cut(t)
	for !c.overrun {
		c.tick(t)
	}
	require.InDelta(t, c.limitS(), c.deliveredS, bay.SavedWithin.Seconds()+60)
}

// again stores the memory, restarts the core after a proven second and gives the first
// picture.
func (c *cutter) again(t *testing.T) *bay.Picture {
	t.Helper()
	m := c.Core.Memory()
	text, err := json.Marshal(&m)
	require.NoError(t, err)
	c.saved, c.savedAt, c.off, c.proven = text, c.Now, time.Second, true
	c.cut(t)
	return c.tick(t)
}

// TestAPackThatMustCoolStillMust: between the limit and the all-clear a restart does not
// let a charge start.
func TestAPackThatMustCoolStillMust(t *testing.T) {
	c := newCutter(28.8, 10)
	packC := 55.0
	c.Change = func(r *bay.Readings) { r.PackC.Value = packC }
	for range 30 {
		c.tick(t)
	}
	packC = 45
	for range 3 {
		require.True(t, c.again(t).Findings[interlock.PackHot].Raised)
		for range 60 {
			require.False(t, c.tick(t).Permit.Granted)
		}
	}
	packC = 37
	for range 30 {
		c.tick(t)
	}
	require.True(t, c.tick(t).Permit.Granted)
}

// TestAnUnreadVoltageOverRestarts: after a quarter of an hour without a voltage it may be
// another pack, however often the agent restarts meanwhile.
func TestAnUnreadVoltageOverRestarts(t *testing.T) {
	c := newCutter(30.6, 3)
	for !c.fulls {
		c.tick(t)
	}
	c.amps, c.volts = 0, 26.4
	require.True(t, c.again(t).Charge.Full)
	c.Change = func(r *bay.Readings) { r.PackV.Fault = reading.Missing }
	for minute := 1; minute <= 14; minute++ {
		for range 5 {
			c.tick(t)
		}
		require.True(t, c.again(t).Charge.Full, "after %d minutes", minute)
	}
	for range 3 {
		for range 5 {
			c.tick(t)
		}
		c.again(t)
	}
	require.False(t, c.tick(t).Charge.Full)
}

// TestWaterLostUnderPowerCuts: what gasses between the last save and a cut is water lost
// all the same.
func TestWaterLostUnderPowerCuts(t *testing.T) {
	const hours = 4
	lost := func(every time.Duration, proven bool) (ml, chargedS float64) {
		c := newCutter(30.6, 10)
		c.every, c.off, c.proven = every, 5*time.Second, proven
		var p *bay.Picture
		for c.deliveredS < hours*3600 {
			p = c.tick(t)
		}
		return p.Water.LostTotal, c.deliveredS
	}
	whole, wholeS := lost(1e6*time.Hour, true)
	require.Positive(t, whole)
	for _, proven := range []bool{true, false} {
		cut, cutS := lost(19*time.Minute, proven)
		require.GreaterOrEqual(t, cut/cutS, 0.97*whole/wholeS, "proven: %v", proven)
		require.LessOrEqual(t, cut/cutS, 2*whole/wholeS, "proven: %v", proven)
	}
}
