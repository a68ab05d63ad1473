package charge_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
	"bayward/agent/charge/chargetest"
)

const bulkH = 0.4

// finishing is a finish at a share of the capacity in which a part that still charges
// vanishes by a time constant: Tafel's law, at 170 to 250 mV a decade for both plates
// together (Berndt, Maintenance-Free Batteries, and Bode 1977, from memory). It follows bulkH
// of a sound pack's bulk. rows carry the charge as it grows.
func finishing(r *rand.Rand, rate, takesH, hours float64, noiseV float64) chargetest.Series {
	decade := between(r, 0.17, 0.25)
	share, missing := 0.97, 0.97*rate*takesH
	// The bulk before it: a sound pack is far below the gassing voltage then.
	var rows chargetest.Series
	for s := -bulkH * 3600; s < 0; s += 10 {
		rows = append(rows, chargetest.Row{S: s + bulkH*3600, PackV: 12 * 2.2, A: 0.1 * 225, C: 25, Soc: 1 - missing, Complete: math.NaN()})
	}
	for s := 0.0; s < hours*3600; s += 10 {
		left := share * math.Exp(-s/3600/takesH)
		v := 2.65 + decade*math.Log10(1-left)
		rows = append(rows, chargetest.Row{
			S: s + bulkH*3600, PackV: 12 * (v + noiseV*r.NormFloat64()), A: rate * 225, C: 25,
			Soc: 1 - missing*math.Exp(-s/3600/takesH), Complete: math.NaN(),
		})
	}
	return rows
}

// The voltage of a finish that has little left to rise: what still goes in is the part
// that charges times its time constant.
func TestEvidenceFinishRise(t *testing.T) {
	// follows ends a finish after some hours; a rest at full gravity plus 0.845 V
	// (DOE-HDBK-1084-95) follows.
	follows := func(rows chargetest.Series) *seen {
		end := rows[len(rows)-1]
		for s := 10.0; s < 3*3600; s += 10 {
			rows = append(rows, chargetest.Row{
				S: end.S + s, PackV: 12 * (1.285 + 0.845 + 0.05*math.Exp(-s/3600)), C: 25, Soc: end.Soc, Complete: math.NaN(),
			})
		}
		return follow(config(225, 1.285), 12, rows)
	}
	sound := func(rate float64) chargetest.Series {
		return finishing(rand.New(rand.NewPCG(1, 1)), rate, 0.5, 1.6, 0.001)
	}
	t.Run("sound plates, before the voltage is steady", func(t *testing.T) {
		got := follows(sound(0.045))
		require.Equal(t, charge.FinishRise, got.evidence)
		require.InDelta(t, bulkH+1.6+1, got.fullAtH, 0.1, "an hour of rest")
	})
	t.Run("not when the rest does not agree", func(t *testing.T) {
		rows := sound(0.045)
		for s := 10.0; s < 3*3600; s += 10 {
			rows = append(rows, chargetest.Row{S: (bulkH+1.6)*3600 + s, PackV: 12 * (1.285 + 0.845 - 0.016), C: 25, Complete: math.NaN()})
		}
		require.False(t, follow(config(225, 1.285), 12, rows).fullEver)
	})
	// Plates that hardly take a charge have the gassing voltage at once ("voltage rises
	// rapidly" of sulfated cells: common practice, no source).
	t.Run("not where the charge began with the gassing voltage", func(t *testing.T) {
		rows := sound(0.045)
		for i := range rows {
			if rows[i].S < bulkH*3600 {
				rows[i].PackV = 12 * 2.40
			}
		}
		require.False(t, follows(rows).fullEver)
	})
	t.Run("never at a bulk current", func(t *testing.T) { require.False(t, follows(sound(0.08)).fullEver) })
	t.Run("never below rapid gassing", func(t *testing.T) {
		rows := sound(0.045)
		for i := range rows {
			rows[i].PackV -= 12 * 0.25
		}
		require.False(t, follows(rows).fullEver)
	})
	// Plates that take 0.5 to 6 h, with noise of a reading up to 3 mV: what it finds
	// missing is an upper bound.
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 9))
		takesH, rate, noiseV, hours := factor(r, 0.5, 6), between(r, 0.02, 0.06), factor(r, 0.0002, 0.003), between(r, 1, 9)
		t.Run(fmt.Sprintf("model: Tafel: takes %.1f h at %.3f for %.1f h", takesH, rate, hours), func(t *testing.T) {
			if got := follows(finishing(r, rate, takesH, hours, noiseV)); got.evidence == charge.FinishRise {
				require.Greater(t, got.socAtFull, 0.93)
			}
		})
	}
}

// A rest takes back a full that it does not show: 12 mV below full gravity for evidence
// that slow plates or a leaking cell show too, 30 mV for a steady voltage or current.
func TestRestTakesBackFull(t *testing.T) {
	run := func(steady bool, lowV float64) *seen {
		r := recorder(0.6)
		r.Charge(map[bool]float64{true: 16, false: 7}[steady], chargetest.IU(0.16, 2.40))
		n := len(r.Rows)
		r.Rest(5)
		full := 12 * (1.285 + 0.845) // DOE-HDBK-1084-95: gravity plus 0.845
		for i := n; i < len(r.Rows); i++ {
			h := (r.Rows[i].S - r.Rows[n].S) / 3600
			r.Rows[i].PackV = full - 12*lowV + 12*0.08*math.Exp(-3*h)
		}
		return follow(config(225, 1.285), 12, r.Rows)
	}
	for _, c := range []struct {
		steady bool
		lowV   float64
		full   bool
		doubt  charge.Doubt
	}{
		{false, 0.009, true, charge.NoDoubt}, {false, 0.016, false, charge.EndedEarly}, {false, 0.035, false, charge.EndedEarly},
		{true, 0.016, true, charge.NoDoubt}, {true, 0.027, true, charge.NoDoubt}, {true, 0.035, false, charge.RestsTooLow},
	} {
		t.Run(fmt.Sprintf("steady %v, %.0f mV low", c.steady, 1000*c.lowV), func(t *testing.T) {
			got := run(c.steady, c.lowV)
			require.True(t, got.fullEver, "in the charge")
			require.Equal(t, c.full, got.status.Full)
			require.Equal(t, c.doubt, got.status.Doubt)
		})
	}
	t.Run("published: NAVEDTRA 14344: not one that the hydrometer shows", func(t *testing.T) {
		r := recorder(0.95)
		r.Rest(6)
		tr := charge.New(config(225, 1.285))
		for i := range r.Rows {
			r.Rows[i].PackV = 12 * (1.285 + 0.845 - 0.020)
		}
		followWith(tr, 12, r.Rows[:100], nil)
		allCells(tr, at(r.Rows[99].S), 1.285)
		followWith(tr, 12, r.Rows[100:], nil)
		require.True(t, tr.Status().Full)
	})
}
