package water_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/water"
)

// night charges the rig's pack for three hours and lets it rest: gas raises the level by
// heldMM, in half an hour to two thirds of it, and leaves as fast; warm acid raises it as
// well; the probe is off by some noise.
func (r *rig) night(levelMM, heldMM float64, rng *rand.Rand) {
	gas, warmC := 0.0, 25.0
	for minute := range 8 * 60 {
		r.in.Gassing = minute < 3*60
		to := 0.0
		if r.in.Gassing {
			to, r.in.ChargeEnded, r.in.AnyCharge = heldMM, r.now, true
			warmC += 0.08
		} else {
			warmC += (25 - warmC) / 120
		}
		gas += (to - gas) * (1 - math.Exp(-1.0/25))
		r.in.PackC.Value, r.in.PackC.At = warmC, r.now
		warmMM := 1350 * 5.66e-4 * (warmC - 25) / 13 // Myhre, Nielsen and Saastad (1998): 5.66e-4 per °C
		mm := levelMM + gas + warmMM + 0.3*rng.NormFloat64()
		r.wait(time.Minute, mm, mm)
	}
}

// TestHoldUpIsMeasured: whatever the configuration says, a fill leaves room for the gas
// that the pack was seen to hold; less than is configured makes no room smaller.
func TestHoldUpIsMeasured(t *testing.T) {
	for _, heldMM := range []float64{1, 3, 6, 9} {
		r, rng := newRig(pack(), 8), rand.New(rand.NewPCG(1, uint64(heldMM)))
		was := r.Status().CeilingMM
		for range 2 {
			r.night(8, heldMM, rng)
		}
		require.False(t, r.Status().HeldOK, "two charges are too few")
		require.InDelta(t, was, r.Status().CeilingMM, 1e-9)
		for range 3 {
			r.night(8, heldMM, rng)
		}
		s := r.Status()
		require.True(t, s.HeldOK)
		require.InDelta(t, heldMM, s.HeldMM, 0.15*heldMM+0.3, "measured")
		require.InDelta(t, was-max(heldMM-3, 0), s.CeilingMM, 0.15*heldMM+0.3, "room for %v mm", heldMM)
		require.LessOrEqual(t, s.CeilingMM, was, "configured room stays")

		m := r.Memory()
		require.True(t, m.Valid(12))
		next := water.New(pack())
		next.Restore(&m, r.now, 0)
		require.InDelta(t, s.CeilingMM, next.Status().CeilingMM, 1e-9, "after a restart")
	}
}

// TestHoldUpNeedsALevelOfItsOwn: one odd charge, a visit in the night and a probe that
// leaves much open teach nothing.
func TestHoldUpNeedsALevelOfItsOwn(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	r := newRig(pack(), 8)
	was := r.Status().CeilingMM
	r.night(8, 3, rng)
	r.night(8, 15, rng) // foam on the probe
	r.night(8, 3, rng)
	require.InDelta(t, was, r.Status().CeilingMM, 0.5, "one odd charge")

	r = newRig(pack(), 8)
	var given [water.MaxCells]float64
	for range 4 {
		r.in.Gassing, r.in.AnyCharge = true, true
		for range 120 {
			r.in.ChargeEnded = r.now
			r.wait(time.Minute, 14, 14)
		}
		r.in.Gassing, r.in.AtCells, r.in.GivenML = false, true, &given
		r.wait(time.Minute, 8, 8) // somebody draws electrolyte off
		r.in.AtCells = false
		r.wait(2*time.Hour, 8, 8)
	}
	require.False(t, r.Status().HeldOK, "somebody was at the cells")

	for _, bad := range [][]float64{{math.NaN()}, {-1}, {21}, {1, 2, 3, 4}} {
		m := r.Memory()
		m.HeldMM = bad
		require.False(t, m.Valid(12), "%v", bad)
	}
}
