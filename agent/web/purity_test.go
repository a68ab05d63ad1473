package web

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// TestPurityLimits compares the limits for topping-up water with
// testdata/reference/water_purity.csv and the rule of the trade.
func TestPurityLimits(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "reference", "water_purity.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = -1
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	limits := map[string]float64{}
	for _, row := range all[1:] {
		if v, err := strconv.ParseFloat(row[1], 64); err == nil {
			limits[row[0]] = v
		}
	}
	for _, c := range []struct {
		name      string
		limit     float64
		low, high float64
	}{
		{"good: distilled water by GOST 6709 (5 µS/cm) passes", goodUSPerCM, limits["conductivity_20C"], 1e9},
		{"good: fresh water by DIN 43530-4 (from memory)", goodUSPerCM, 0, limits["conductivity_fresh"]},
		{"refused: above the limit in use by DIN 43530-4 (from memory)", worstUSPerCM, 0, limits["conductivity_limit_in_use"]},
		// Some accept up to 200 ppm of solids; deionized or distilled water is the
		// safe choice. One ppm of salts is 1.4 to 2 µS/cm (both common practice, no
		// source). That water therefore shows at least 280 µS/cm and is refused
		// here.
		{"stricter than 200 ppm (common practice, no source)", worstUSPerCM, 0, 200 * 1.4},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.limit < c.low || c.limit > c.high || c.high == 0 {
				t.Errorf("limit %v µS/cm, want %v to %v", c.limit, c.low, c.high)
			}
		})
	}
}
