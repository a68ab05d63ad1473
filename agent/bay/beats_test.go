package bay

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// TestBeats: the heartbeat stops only while a contactor that was ordered to open has
// not; no other finding may let the watchdog relay drop, which would hide that it
// still can.
func TestBeats(t *testing.T) {
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		p := &Picture{}
		p.Findings[c].Raised = true
		require.Equal(t, c != interlock.ContactorStuck, p.Beats(), c)
		p.Permit.Granted = true
		require.True(t, p.Beats(), "a granted charge needs it: %v", c)
	}
}

// yard is a core with a contactor whose charge-enable relay sticks, and with a watchdog
// relay in series that holds the contactor closed for some seconds after a beat.
type yard struct {
	core         *Bay
	now, beatAt  time.Duration
	sticks, pack bool
	chargedS     int // seconds that the contactor was closed on a pack without a permit
}

func (y *yard) tick(t *testing.T, orders ...order.Order) *Picture {
	t.Helper()
	const hold = 10 * time.Second
	y.now += time.Second
	closed := y.sticks && y.beatAt > 0 && y.now-y.beatAt <= hold
	r := Readings{Now: y.now, Orders: orders, Level: reading.LevelBetween(6, 6, y.now)}
	volts, amps, contact := 0.0, 0.0, 0.0
	if y.pack {
		volts = 25.2
	}
	if closed {
		contact = 1
	}
	if closed && y.pack {
		amps = 20
		y.chargedS++
	}
	for place, v := range map[*reading.Reading]float64{
		&r.PackV: volts, &r.CurrentA: amps, &r.PackC: 25, &r.AmbientC: 21, &r.ContactorClosed: contact,
	} {
		*place = reading.Good(v, y.now)
	}
	p, _ := y.core.Step(&r)
	require.False(t, p.Permit.Granted, "the bay is on hold")
	if p.Beats() {
		y.beatAt = y.now
	}
	return p.Clone()
}

// run ticks for some seconds.
func (y *yard) run(t *testing.T, seconds int) (p *Picture) {
	t.Helper()
	for range seconds {
		p = y.tick(t)
	}
	return p
}

// TestReleaseOfAStuckRelay: the watchdog relay holds the contactor open in the place of a
// relay that sticks, so a release, which starts the heartbeat again, is taken only while
// no pack is connected. If the relay still sticks, that shows before a pack is; repaired,
// the bay goes on.
func TestReleaseOfAStuckRelay(t *testing.T) {
	setup := Setup{
		Name: "bay-1", Limits: DefaultLimits(), Watchdog: Watchdog{Line: "GPIO27"},
		Pack: Pack{
			Name: "lift-24v", Cells: 12, CapacityAh: 225, RateHours: 20, FullGravity: 1.277, ChargeLevelMM: 3, FillMarkMM: 13,
			VentWellMM: 22, FreeSurfaceCM2: 130, ElectrolyteML: 1350, ProbeCell: 6,
		},
		Fitted: reading.SensorsOf(reading.PackCurrent, reading.AmbientTemperature, reading.ContactorFeedback),
	}
	stuck := func(p *Picture) bool { return p.Findings[interlock.ContactorStuck].Raised }
	n := 0
	release := func() order.Order {
		n++
		return order.Order{ID: string(rune('a' + n)), By: "A. Person", Kind: order.Release}
	}
	y := &yard{core: New(setup), pack: true}
	y.tick(t, order.Order{ID: "hold", By: "A. Person", Kind: order.Hold})
	y.run(t, 60)
	y.sticks = true
	require.True(t, stuck(y.run(t, 20)))
	first := y.chargedS
	require.LessOrEqual(t, first, 4+10, "three seconds until it is found, ten until the watchdog relay drops")

	for range 5 {
		require.True(t, stuck(y.tick(t, release())))
		require.True(t, stuck(y.run(t, 20)))
	}
	require.Equal(t, first, y.chargedS, "a release with the pack connected let the relay charge it")

	y.pack = false
	y.run(t, 20)
	require.False(t, stuck(y.tick(t, release())))
	require.True(t, stuck(y.run(t, 20)), "it still sticks")
	y.pack = true
	y.run(t, 60)
	require.Equal(t, first, y.chargedS, "connected again with the relay stuck")

	y.pack, y.sticks = false, false
	y.run(t, 20)
	y.tick(t, release())
	y.pack = true
	p := y.run(t, 60)
	require.False(t, stuck(p))
	require.True(t, p.Beats())
	require.Equal(t, first, y.chargedS)
}
