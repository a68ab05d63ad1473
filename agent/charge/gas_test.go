package charge_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
	"bayward/agent/charge/chargetest"
	"bayward/sensors/sim/pack"
)

// What a charge puts into a pack beyond what was taken out since it was last full has
// split water: charge balance. The cells of the record are sealed and recombine it, but
// they still gas.
func TestGassingAgainstMeasuredBalance(t *testing.T) {
	for file, excessAh := range map[string]float64{
		// net_Ah of measured_12v17ah_segments.csv: all charges and float less the discharges before them
		"measured_12v17ah_cycles_a.csv": 21.538 + 0.110 + 21.021 + 20.401 - 19.744 - 19.848 - 19.680,
		"measured_12v17ah_cycles_b.csv": 9.769 + 19.964 - 8.571 - 19.288,
	} {
		t.Run("measured: Sulzer et al. 2019, balance of "+file, func(t *testing.T) {
			cfg := config(17, 1.300)
			cfg.Cells = 6
			got := follow(cfg, 6, data(t, file, 1, 1)).status.TotalGassingAh
			t.Logf("figure: %.2f Ah told, %.2f by balance", got, excessAh)
			// The count of the record is good to 0.2 Ah for each segment (its README), so to
			// 0.5 for six of them. Too much is the careful side.
			require.GreaterOrEqual(t, got, excessAh-0.5)
			require.LessOrEqual(t, got, 1.2*excessAh+0.5)
		})
	}
}

// Copetti, Lorenzo and Chenlo (1993) and Ceraolo (2000), in sensors/sim/pack, have a law
// of gassing of their own, with twice the current and a steeper rise.
func TestGassingAgainstCopettiCeraolo(t *testing.T) {
	for _, kind := range []pack.ChargerKind{pack.TwoStage, pack.Taper} {
		for _, ambientC := range []float64{20, 35} {
			t.Run("model: Copetti and Ceraolo: gas of "+kind.String(), func(t *testing.T) {
				rows, trueAh := simulatedGas(t, ambientC, kind, 0.3)
				told := follow(config(225, 1.277), 12, rows).status.TotalGassingAh
				t.Logf("figure: %.1f Ah told, %.1f true, at %.0f °C", told, trueAh, ambientC)
				require.GreaterOrEqual(t, told, trueAh)
				require.LessOrEqual(t, told, 1.3*trueAh)
			})
		}
	}
}

// A multiple that was learned counts in the charges that teach none, over a restart and a
// pulled plug too.
func TestGassingIsRemembered(t *testing.T) {
	short := func() chargetest.Series {
		r := recorder(0.6)
		r.Charge(2, chargetest.IU(0.16, 2.40))
		return r.Rows
	}
	count := func(before charge.Memory) float64 {
		tr := charge.New(config(225, 1.285))
		tr.Restore(&before, 0, 0, false)
		tr.PackGone(0)
		return followWith(tr, 12, short(), nil).status.GassingAh
	}
	require.InEpsilon(t, 3, count(charge.Memory{GasTimes: 3})/count(charge.Memory{}), 0.01)
	require.InEpsilon(t, 1, count(charge.Memory{GasTimes: 1})/count(charge.Memory{}), 0.01)
	for _, bad := range []float64{-1, 13, math.NaN(), math.Inf(1)} {
		require.False(t, (&charge.Memory{GasTimes: bad}).Valid(), bad)
	}
	tr := charge.New(config(225, 1.277))
	rows, _ := simulatedGas(t, 20, pack.Taper, 0.3)
	followWith(tr, 12, rows, nil)
	require.Greater(t, tr.Memory().GasTimes, 1.5)
}
