package electrolyte_test

import (
	"testing"

	"bayward/agent/electrolyte"
	"bayward/agent/referencetest"
)

const (
	litresPerCubicFoot = 28.316846592 // international foot, exact
	hourS              = 3600.0
)

// TestFaraday checks constants and yields per ampere-hour against published values.
// Tolerance of a printed value: half of its last digit, or as noted at its row.
func TestFaraday(t *testing.T) {
	h2, o2 := electrolyte.HydrogenL, electrolyte.OxygenL
	for _, c := range []struct {
		source         string
		got, want, tol float64
	}{
		{"memory: CODATA 2018: Faraday constant, C/mol", electrolyte.FaradayCPerMol, 96485.33212, 0},
		{"published: CODATA 2014: Faraday constant differs in the 9th figure", electrolyte.FaradayCPerMol, 96485.33289, 1e-3},
		{"published: CODATA 2018, in the CRC Handbook online: molar gas constant, J/(mol K)", electrolyte.GasConstantJPerMolK, 8.314462618, 0},
		{"memory: IUPAC standard atomic weights: H2O, g/mol", electrolyte.MolarMassWaterGPerMol, 2*1.008 + 15.999, 5e-4},
		{"memory: IUPAC standard atomic weights: H2SO4, g/mol", electrolyte.MolarMassAcidGPerMol, 2*1.008 + 32.06 + 4*15.999, 1e-2},
		{"published: CODATA 2014: molar volume at 0 °C and 101.325 kPa, L/mol (real 22.413962)",
			h2(1, 0) / electrolyte.GasMolPerAh, 22.413962, 1e-4},
		{"arithmetic: CODATA F and M(H2O): 0.33609 g of water per Ah", electrolyte.WaterGPerAh, 0.33609, 5e-6},
		{"arithmetic: CODATA F and R: 0.41815 L H2 per Ah at 0 °C", h2(1, 0), 0.41815, 5e-6},
		{"arithmetic: CODATA F and R: 0.45642 L H2 per Ah at 25 °C", h2(1, 25), 0.45642, 5e-6},
		{"arithmetic: CODATA F and R: 0.22821 L O2 per Ah at 25 °C", o2(1, 25), 0.22821, 5e-6},
		{"published: DOE-HDBK-1084-95 p. 33: 0.336 cm3 of water per Ah (density taken as 1)", electrolyte.WaterML(1), 0.336, 0.0015},
		{"published: ZVEI leaflet 14e (2017): 3 Ah break down 1 g of water (rounded, 1 %)", 1 / electrolyte.WaterGPerAh, 3, 0.03},
		{"published: ZVEI leaflet 14e (2017): 0.45 L H2 per Ah at 25 °C (1.5 %)", h2(1, 25), 0.45, 0.0068},
		{"published: ZVEI leaflet 14e (2017): 0.23 L O2 per Ah at 25 °C (1 %)", o2(1, 25), 0.23, 0.0023},
		{"published: EN 50272-3: 0.42 L H2 per Ah at 0 °C", h2(1, 0), 0.42, 0.005},
		{"published: UFC 3-520-01 (2002) 14-1.3.2.2: 1.27e-7 m3/s H2 per A at 25 °C", h2(1, 25) / 1000 / hourS, 1.27e-7, 5e-10},
		{"published: UFC 3-520-01 (2002) 14-1.3.2.2: 0.000269 ft3/min H2 per A at 25 °C",
			h2(1, 25) / litresPerCubicFoot / 60, 0.000269, 5e-7},
		{"published: UFC 3-410-04N (2004) 8-3.1: K = 0.016 ft3 H2 per Ah", h2(1, 25) / litresPerCubicFoot, 0.016, 5e-4},
	} {
		t.Run(c.source, func(t *testing.T) { near(t, "value", c.got, c.want, c.tol) })
	}
}

// TestFaradayTable checks every row of the table of yields that is per ampere-hour.
func TestFaradayTable(t *testing.T) {
	yields := map[string]func() float64{
		"water_lost_per_Ah_per_cell": func() float64 { return electrolyte.WaterGPerAh },
		"Ah_per_gram_water":          func() float64 { return 1 / electrolyte.WaterGPerAh },
		"H2_per_Ah_per_cell_0C":      func() float64 { return electrolyte.HydrogenL(1, 0) },
		"H2_per_Ah_per_cell_20C":     func() float64 { return electrolyte.HydrogenL(1, 20) },
		"H2_per_Ah_per_cell_25C":     func() float64 { return electrolyte.HydrogenL(1, 25) },
		"O2_per_Ah_per_cell_0C":      func() float64 { return electrolyte.OxygenL(1, 0) },
		"O2_per_Ah_per_cell_25C":     func() float64 { return electrolyte.OxygenL(1, 25) },
		"faraday_constant":           func() float64 { return electrolyte.FaradayCPerMol },
		"gas_constant":               func() float64 { return electrolyte.GasConstantJPerMolK },
		"molar_mass_water":           func() float64 { return electrolyte.MolarMassWaterGPerMol },
	}
	seen := 0
	for _, r := range table(t, "reference/faraday_constants.csv") {
		yield, ok := yields[r["quantity"]]
		if !ok {
			continue
		}
		seen++
		t.Run(r.Kind(t)+r["source"]+": "+r["quantity"], func(t *testing.T) {
			want := r.Num(t, "value")
			near(t, r["quantity"], yield(), want, want*3e-5)
		})
	}
	if seen != len(yields) {
		t.Errorf("%d of %d rows found", seen, len(yields))
	}
}

// TestWaterRules checks the overcharge rows of DOE-HDBK-1084-95 (0.5 %: the book
// takes the density of water as 1). The book prints the figure for 1 Ah.
func TestWaterRules(t *testing.T) {
	for _, r := range pick(t, table(t, "data/us_government_rules.csv"), "rule", "water_loss", 3) {
		kind := referencetest.Arithmetic // multiples of the printed figure
		if r["input_value"] == "1" {
			kind = referencetest.Published
		}
		t.Run(kind+r["source"]+": "+r["input_value"]+" Ah", func(t *testing.T) {
			want := r.Num(t, "expected_value")
			near(t, "mL", electrolyte.WaterML(r.Num(t, "input_value")), want, want*0.005)
		})
	}
}
