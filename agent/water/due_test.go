package water_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/reading"
	"bayward/agent/water"
)

// callAt is the settled level at which a round is worth it: a third of the way from the
// mark of 13 mm to the 3 mm at which no charge starts.
const callAt = 13 - 10.0/3

// TestOneCallUnderNoise: at the threshold itself, with ten times the noise of a
// converter, a night of seconds has one call.
func TestOneCallUnderNoise(t *testing.T) {
	for _, noiseMM := range []float64{0.006, 0.02, 0.1} {
		rng := rand.New(rand.NewPCG(uint64(1000*noiseMM), 7))
		r, calls, was := newRig(pack(), callAt+1), 0, false
		for range 10 * 3600 {
			level := callAt + noiseMM*rng.NormFloat64()
			s := r.stand(level, level)
			if s.Due && !was {
				calls++
			}
			was = s.Due
		}
		require.Equal(t, 1, calls, "noise of %v mm", noiseMM)
	}
}

// TestACallEnds when water is recorded, and when the level rises by more than noise does.
func TestACallEnds(t *testing.T) {
	r := newRig(pack(), callAt)
	require.True(t, r.Status().Due)
	require.True(t, r.stand(callAt+1.4, callAt+1.4).Due, "noise")
	require.False(t, r.stand(callAt+1.6, callAt+1.6).Due, "a rise")
	require.False(t, r.stand(callAt+0.1, callAt+0.1).Due, "no call was open")

	require.True(t, r.stand(callAt, callAt).Due)
	var given [water.MaxCells]float64
	for i := range 12 {
		given[i] = 13
	}
	r.Filled(&given, 0, callAt, true, r.in.GassingAh)
	require.False(t, r.stand(callAt+1, callAt+1).Due, "watered, if by little")
	require.True(t, r.stand(callAt, callAt).Due, "and low again")
}

// TestACallOutlives a reading that is gone for a while, and a restart.
func TestACallOutlives(t *testing.T) {
	r := newRig(pack(), callAt)
	require.True(t, r.Status().Due)
	r.now += time.Minute
	r.in.Now, r.in.Level = r.now, reading.Level{At: r.now, Fault: reading.Open}
	r.Step(&r.in)
	require.False(t, r.Status().Due, "nobody is called without a level")
	require.True(t, r.stand(callAt+1, callAt+1).Due)

	m := r.Memory()
	next := &rig{Balance: water.New(pack()), now: r.now}
	next.Restore(&m, next.now, 0)
	require.True(t, next.stand(callAt+1, callAt+1).Due)
}

// TestOneCallBySoon: the forecast calls once, too, and sooner than the level, which
// calls at 7 mm here: at 1.7 mm a day the last three days of the lowest cell begin at
// 8.8 mm.
func TestOneCallBySoon(t *testing.T) {
	cfg := pack()
	cfg.FillMarkMM = 9
	level := 12.5
	r, rng := knownWell(cfg, level), rand.New(rand.NewPCG(3, 3))
	for range 36 {
		r.lose(1.7 / 24)
		level -= 1.7 / 24
		require.False(t, r.wait(time.Hour, level, level).Due)
	}
	calls, was := 0, false
	for level > 7.6 {
		for range 3600 {
			seen := level + 0.1*rng.NormFloat64()
			s := r.stand(seen, seen)
			if s.Due && !was {
				calls++
			}
			was = s.Due
		}
		level -= 0.08
	}
	require.Equal(t, 1, calls)
	require.True(t, was)
}

// knownWell is a rig whose cells have been read so often that no reading round is due.
func knownWell(cfg water.Config, levelMM float64) *rig {
	m := newRig(cfg, levelMM).Memory()
	for i := range m.Known {
		m.Known[i].Var, m.Known[i].Rate, m.Known[i].RateVar = 0, 1, 0
	}
	r := &rig{Balance: water.New(cfg)}
	r.Restore(&m, 0, 0)
	r.stand(levelMM, levelMM)
	return r
}

// TestAChargeThatHasJustStoppedIsNotCalm: the gas leaves over an hour, of which a cell may
// hold less than is configured, and a charge counts as ended only ten minutes after its
// current. A level seen meanwhile calls nobody and teaches nothing.
func TestAChargeThatHasJustStoppedIsNotCalm(t *testing.T) {
	r := newRig(pack(), 11)
	r.in.AnyCharge, r.in.ChargeEnded = true, 0 // the charge of the day before
	r.wait(24*time.Hour, 11, 11)
	const heldMM = 1.0 // of the three that are configured
	r.in.Gassing = true
	for range 30 {
		require.False(t, r.wait(10*time.Minute, 11+heldMM, 11+heldMM).Due)
	}
	r.in.Gassing = false
	require.False(t, r.wait(time.Minute, 11+heldMM, 11+heldMM).Due)
	require.False(t, r.Status().PredictOK, "the balance is not compared")
	r.in.ChargeEnded = r.now // seen now
	for minute := range 90 {
		gas := heldMM * math.Exp(-float64(minute)/20)
		require.False(t, r.wait(time.Minute, 11+gas, 11+gas).Due, "minute %d", minute)
	}
	require.True(t, r.Status().PredictOK, "calm by now")
	require.InDelta(t, 0, r.Status().ApartMM, 0.3)
}

// TestOneLowCellIsNoCall while it can wait: the other eleven need no water. It is one when
// most cells need some, and when the low cell is low soon.
func TestOneLowCellIsNoCall(t *testing.T) {
	r := knownWell(known(), 12.8)
	r.Level(7, 9.5)
	r.Level(7, 9.5)
	require.False(t, r.stand(12.8, 12.8).Due, "43 ml for one cell of twelve")
	for cell := 1; cell <= 12; cell++ {
		if cell != 7 {
			r.Level(cell, 11.7)
			r.Level(cell, 11.7)
		}
	}
	require.True(t, r.stand(11.7, 11.7).Due)

	r = knownWell(known(), 12.8)
	r.Level(7, 5)
	r.Level(7, 5)
	for day := range 2 {
		r.lose(1)
		r.wait(24*time.Hour, 11.8-float64(day), 11.8-float64(day))
	}
	require.True(t, r.Status().Due, "a millimetre above the lowest level for charging, at one a day")
}
