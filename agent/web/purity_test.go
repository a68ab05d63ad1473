package web

import (
	"strings"
	"testing"

	"bayward/agent/referencetest"
)

// TestPurityLimits compares the limits for topping-up water with
// testdata/reference/water_purity.csv and the rule of the trade.
func TestPurityLimits(t *testing.T) {
	limits := map[string]float64{}
	for _, row := range referencetest.Table(t, "reference/water_purity.csv") {
		if strings.HasPrefix(row["parameter"], "conductivity") {
			limits[row["parameter"]] = row.Num(t, "limit")
		}
	}
	for _, c := range []struct {
		name      string
		limit     float64
		low, high float64
	}{
		{"published: good: distilled water by GOST 6709 (5 µS/cm) passes", goodUSPerCM, limits["conductivity_20C"], 1e9},
		{"memory: good: fresh water by DIN 43530-4", goodUSPerCM, 0, limits["conductivity_fresh"]},
		{"memory: refused: above the limit in use by DIN 43530-4", worstUSPerCM, 0, limits["conductivity_limit_in_use"]},
		// Some accept up to 200 ppm of solids; deionized or distilled water is the
		// safe choice. One ppm of salts is 1.4 to 2 µS/cm (both common practice, no
		// source). That water therefore shows at least 280 µS/cm and is refused
		// here.
		{"memory: stricter than 200 ppm (common practice, no source)", worstUSPerCM, 0, 200 * 1.4},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.limit < c.low || c.limit > c.high || c.high == 0 {
				t.Errorf("limit %v µS/cm, want %v to %v", c.limit, c.low, c.high)
			}
		})
	}
}
