package charge_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge/chargetest"
)

// The equations behind the test charges, compared with the published run of the
// same equations: testdata/data/README.md, section 4. Driven by the file's own
// current, of which the file has one value a minute. Where it bends, a straight
// line over a minute is off by up to 0.3 % of the capacity in the sum over the run.
func TestSchifferEquations(t *testing.T) {
	for _, file := range []string{"gassing_model_500ah_iuia_25c.csv", "gassing_model_500ah_iuia_45c.csv"} {
		t.Run("arithmetic: "+file, func(t *testing.T) {
			rows := data(t, file, 1, 1)
			p := &chargetest.CellString{CapacityAh: 500, Cells: 1, C: rows[0].C, Soc: 1}
			worstV, worstSoc := 0.0, 0.0
			for i := 1; i < len(rows); i++ {
				dt, a := rows[i].S-rows[i-1].S, (rows[i].A+rows[i-1].A)/2
				sup := chargetest.Supply{LoadA: min(a, 0)}
				if a > 0 {
					sup = chargetest.Supply{OpenV: 10, Ohm: 1e-9, MaxA: a}
				}
				v, _ := p.Step(dt, sup)
				worstSoc = max(worstSoc, math.Abs(p.Soc-rows[i].Soc))
				if rows[i].A == rows[i-1].A {
					worstV = max(worstV, math.Abs(v-rows[i].PackV))
				}
			}
			t.Logf("voltage within %.1f mV, charge within %.4f", 1000*worstV, worstSoc)
			require.Less(t, worstSoc, 0.003)
			require.Less(t, worstV, 0.02)
			require.InEpsilon(t, map[bool]float64{true: 16.02, false: 18.39}[rows[0].C < 30], p.GassingAh*0.336, 0.02, "water printed in the README, cm3")
		})
	}
}
