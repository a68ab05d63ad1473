package bay_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// TestSwapWhileTheVoltageIsUnseen: a pack that is swapped while its voltage cannot be read
// keeps nothing of the other's, in a bay for several that a person named. The probe in
// the pack, or a current, shows that it stayed.
func TestSwapWhileTheVoltageIsUnseen(t *testing.T) {
	for _, c := range []struct {
		name  string
		blind time.Duration
		level bool // the probe still gives a level
		keeps bool
	}{
		{"a short fault of the bus", 20 * time.Second, false, true},
		{"long enough to swap", 40 * time.Second, false, false},
		{"the probe is in the pack", 10 * time.Minute, true, true},
		{"too long for anything", 20 * time.Minute, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := baytest.Setup("bay-1")
			s.Packs = baytest.Packs("a", "b")
			d := baytest.New(s)
			d.Run(time.Minute)
			d.Ask(order.Order{Kind: order.Pack, Pack: "a"})
			all, store := []*bay.Bay{d.Core}, bay.NewHistories()
			store.Collect(all, d.Now)
			_, err := store.Open(all, d.Now)
			require.NoError(t, err)
			require.True(t, d.Run(3*time.Minute).Permit.Granted)
			d.Change = func(r *bay.Readings) {
				r.PackV, r.CurrentA = reading.Bad(reading.BusStuck, r.Now), reading.Bad(reading.BusStuck, r.Now)
				if !c.level {
					r.Level = reading.Level{At: r.Now, Fault: reading.BusStuck}
				}
			}
			require.False(t, d.Run(c.blind).Permit.Granted)
			d.Change = nil
			p := d.Run(5 * time.Second)
			require.Equal(t, c.keeps, p.Named(), "%v", p.Codes())
			require.Equal(t, c.keeps, d.Run(5*time.Minute).Permit.Granted)
		})
	}
}

// TestAnOldZeroIsNoPack: a zero of the current sensor that was learned and is no longer
// true shows a current that does not flow. It keeps no pack in a bay that has no voltage.
func TestAnOldZeroIsNoPack(t *testing.T) {
	s := baytest.Setup("bay-1")
	d := baytest.New(s)
	zeroA := 0.015 * s.Pack.CapacityAh
	d.Change = func(r *bay.Readings) {
		r.CurrentA, r.Level = reading.Good(zeroA, r.Now), reading.LevelBetween(-3, -3, r.Now)
	}
	p := d.Run(30 * time.Minute)
	require.InDelta(t, zeroA, p.Amps.ZeroA, 0.1*zeroA)
	require.NotEqual(t, bay.Vacant, p.Stage)
	d.Change = func(r *bay.Readings) {
		r.CurrentA, r.PackV = reading.Good(0, r.Now), reading.Good(0, r.Now)
	}
	require.Equal(t, bay.Vacant, d.Run(10*time.Second).Stage)
}
