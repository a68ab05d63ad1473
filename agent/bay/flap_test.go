package bay_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// flapPlay is evidence that is bad for some seconds and good for the next.
type flapPlay struct {
	bad, good int // seconds
	change    func(*bay.Readings)
	says      interlock.Code
	within    time.Duration
}

// granted returns a bay with every sensor, at rest and with the permit. Before each
// change of the test its gas and air are good.
func granted(t *testing.T) *baytest.Driver {
	t.Helper()
	d := baytest.New(baytest.Every(baytest.Setup("bay-1")))
	d.Change = clean
	require.True(t, d.Run(10*time.Minute).Permit.Granted)
	return d
}

func clean(r *bay.Readings) { baytest.Fill(r, r.Now) }

// TestFlappingIsAFault plays evidence that comes and goes, each of which kept its permit
// as long as one good second started every raise time again.
func TestFlappingIsAFault(t *testing.T) {
	cellV := func(v float64) func(*bay.Readings) {
		return func(r *bay.Readings) { r.PackV.Value = 12 * v }
	}
	for name, play := range map[string]flapPlay{
		"level each other second": {1, 1, func(r *bay.Readings) { r.Level = reading.LevelBetween(-10, -10, r.Now) },
			interlock.PlatesBare, 6 * time.Second},
		"a wire each other second": {1, 1, func(r *bay.Readings) { r.Level.Fault = reading.Open },
			interlock.LevelUnknown, 6 * time.Second},
		"hydrogen each other second": {1, 1, func(r *bay.Readings) { r.HydrogenPct.Value = 3.9 },
			interlock.HydrogenHigh, 6 * time.Second},
		"hot for nine seconds of ten": {9, 1, func(r *bay.Readings) { r.PackC.Value = 70 },
			interlock.PackHot, 14 * time.Second},
		"3.2 V a cell each other second": {1, 1, cellV(3.2), interlock.VoltageImplausible, 6 * time.Second},
		"no air for nine seconds of ten": {9, 1, func(r *bay.Readings) { r.Airflow.Value = 0 },
			interlock.AirflowUnproven, 14 * time.Second},
		"no voltage each other second": {1, 1, cellV(0), interlock.AgentUnready, 6 * time.Second},
		"no voltage, then no reading of it": {2, 1, func(r *bay.Readings) {
			if r.PackV.Value = 0; r.Now%(2*time.Second) == 0 {
				r.PackV.Fault = reading.NoAnswer
			}
		}, interlock.AgentUnready, 12 * time.Second},
		"a late tick each other second": {1, 1, func(r *bay.Readings) { r.LateTick = true }, interlock.AgentUnready, time.Second},
		"a keeper that fails each other second": {1, 1, func(r *bay.Readings) { r.Keeper = bay.KeeperFails },
			interlock.AgentUnready, time.Second},
		"a keeper that is silent each 50 seconds": {1, 49, func(r *bay.Readings) { r.Keeper = bay.KeeperSilent },
			interlock.AgentUnready, time.Second},
		"a thermometer one second of three": {1, 2, func(r *bay.Readings) { r.PackC.Fault = reading.NoAnswer },
			interlock.TemperatureUnknown, 35 * time.Second},
	} {
		t.Run(name, func(t *testing.T) {
			d := granted(t)
			from, open := d.Now, time.Duration(0)
			d.Change = func(r *bay.Readings) {
				clean(r)
				if name == "hydrogen each other second" {
					r.HydrogenPct.Value = 1.9
				}
				if int((r.Now-from)/time.Second-1)%(play.bad+play.good) < play.bad {
					play.change(r)
				}
			}
			for range 3600 {
				p, _ := d.Tick()
				if open == 0 && !p.Permit.Granted {
					open = d.Now - from
					require.Equal(t, play.says, p.FirstReason())
				}
				require.False(t, open > 0 && p.Permit.Granted, "granted again at %v", d.Now-from)
			}
			require.NotZero(t, open, "granted for the whole hour")
			require.LessOrEqual(t, open, play.within)
		})
	}
}

// TestADisturbedSecondInAMinute ends no charge.
func TestADisturbedSecondInAMinute(t *testing.T) {
	d, n := granted(t), 0
	d.Change = func(r *bay.Readings) {
		clean(r)
		if n++; n%60 != 0 {
			return
		}
		places := baytest.Places(r)
		*places[n/60%len(places)] = reading.Bad(reading.NoAnswer, r.Now)
		if n%120 == 0 {
			r.Level.Fault = reading.NoAnswer
		}
	}
	for range 3600 {
		p, _ := d.Tick()
		require.True(t, p.Permit.Granted, "%v", p.Codes())
	}
}

// TestAWiggledPlugIsNotChecked: one pull that ends before the pack counts as gone needs
// no new check; a plug whose voltage comes and goes is checked for the whole time again.
func TestAWiggledPlugIsNotChecked(t *testing.T) {
	d := granted(t)
	volts := d.Values.PackV
	d.Values.PackV = 0
	d.Run(3 * time.Second)
	d.Values.PackV = volts
	require.NotEqual(t, bay.Checking, d.Run(2*time.Second).Stage)
	require.True(t, d.Run(bay.DefaultLimits().OffMin).Permit.Granted)
	d.Run(time.Minute)

	for range 5 {
		d.Values.PackV = 0
		d.Tick()
		d.Values.PackV = volts
		d.Tick()
	}
	from := d.Now
	require.Equal(t, bay.Checking, d.Run(time.Second).Stage)
	for p, _ := d.Tick(); !p.Permit.Granted; p, _ = d.Tick() {
		require.LessOrEqual(t, d.Now-from, 10*time.Minute)
	}
	require.GreaterOrEqual(t, d.Now-from, bay.DefaultLimits().SettleFor)
}

// TestAClockThatStands: no raise time passes while the time does not advance, so such a
// tick is a late one. With bare plates it kept the permit until the clock had caught up.
func TestAClockThatStands(t *testing.T) {
	for name, back := range map[string]time.Duration{"back": time.Hour, "by a nanosecond": 1, "stands": 0} {
		d := granted(t)
		at := d.Now
		step := func(now time.Duration) *bay.Picture {
			r := d.Values.At(now)
			clean(&r)
			p, _ := d.Core.Step(&r)
			return p
		}
		p := step(at - back)
		require.False(t, p.Permit.Granted, name)
		require.Equal(t, interlock.LateTick, p.Findings[interlock.AgentUnready].Evidence.Reason, name)
		require.True(t, p.Seen.LateTick, name)
		for now := at - back; now <= at; now += time.Minute {
			require.False(t, step(now).Permit.Granted, name)
		}
		require.False(t, step(at+time.Second).Permit.Granted, name, "the minimum off time")
		require.True(t, step(at+2*time.Minute).Permit.Granted, name)
	}
}
