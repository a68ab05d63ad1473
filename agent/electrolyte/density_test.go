package electrolyte_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"bayward/agent/electrolyte"
)

const laliberte = "Laliberté, J. Chem. Eng. Data 54 (2009) 1725"

// TestDensityAgainstLaliberte checks all rows of an independent density model that
// lie in the polynomial's range: 0.0026 g/mL (0.2 %) in the paper's own range, and
// the same from 50 to 60 °C. Rows outside must be rejected.
func TestDensityAgainstLaliberte(t *testing.T) {
	inside := 0
	for _, r := range table(t, "data/acid_density_vs_fraction_temperature.csv") {
		w, c := r.Num(t, "acid_mass_fraction"), r.Num(t, "temperature_C")
		if w < 0.1 || c < 0 {
			if got, err := electrolyte.DensityGPerML(w, c); !errors.Is(err, electrolyte.ErrRange) {
				t.Errorf("fraction %.2f, %.2f °C: got %v, %v, want a range error", w, c, got, err)
			}
			continue
		}
		inside++
		t.Run(fmt.Sprintf("model: %s: fraction %.2f, %.2f °C", laliberte, w, c), func(t *testing.T) {
			near(t, "g/mL", must(t)(electrolyte.DensityGPerML(w, c)), r.Num(t, "density_kg_m3")/1000, 0.0026)
		})
	}
	if inside < 200 {
		t.Errorf("only %d rows compared", inside)
	}
}

// TestDensityAgainstHandbook checks every row of the standard handbook table (from
// memory), 0.0005 g/mL.
func TestDensityAgainstHandbook(t *testing.T) {
	rows := table(t, "reference/sulfuric_acid_density_crosscheck.csv")
	if len(rows) != 48 {
		t.Fatalf("%d rows, want 48", len(rows))
	}
	for _, r := range rows {
		w, c := r.Num(t, "mass_percent")/100, r.Num(t, "temp_C")
		t.Run(fmt.Sprintf("memory: handbook table: %.0f %%, %.0f °C", w*100, c), func(t *testing.T) {
			near(t, "g/mL", must(t)(electrolyte.DensityGPerML(w, c)), r.Num(t, "handbook_rho_g_ml"), 0.00051)
		})
	}
}

// TestDensityCoefficients evaluates the polynomial as printed, independently, from
// its table of coefficients. Myhre, Nielsen and Saastad, J. Chem. Eng. Data 43
// (1998) 617.
func TestDensityCoefficients(t *testing.T) {
	rows := table(t, "reference/sulfuric_acid_density_coefficients.csv")
	printed := func(w, c, signW2T4 float64) float64 {
		sum := 0.0
		for i, r := range rows {
			for j := range 5 {
				a := r.Num(t, fmt.Sprintf("t%d", j))
				if i == 2 && j == 4 {
					a = signW2T4 * math.Abs(a)
				}
				sum += a * math.Pow(w, float64(i)) * math.Pow(c, float64(j))
			}
		}
		return sum / 1000
	}
	t.Run("arithmetic: Myhre et al. 1998: coefficients copied right", func(t *testing.T) {
		for _, w := range []float64{0.1, 0.25, 0.378, 0.6, 0.9} {
			for _, c := range []float64{0, 17, 33, 50} {
				near(t, "g/mL", must(t)(electrolyte.DensityGPerML(w, c)), printed(w, c, -1), 1e-9)
			}
		}
	})
	t.Run("model: "+laliberte+": the w^2 t^4 term is negative, though open copies print plus", func(t *testing.T) {
		rho := densityGrid(t, "data/acid_density_vs_fraction_temperature.csv",
			"acid_mass_fraction", "temperature_C", "density_kg_m3", 1, 0.001)
		want := rho(0.38, 50) - rho(0.38, 40)
		near(t, "g/mL from 40 to 50 °C", must(t)(electrolyte.DensityGPerML(0.38, 50))-must(t)(electrolyte.DensityGPerML(0.38, 40)), want, 0.001)
		if plus := printed(0.38, 50, +1) - printed(0.38, 40, +1); !(plus > 0) {
			t.Errorf("with plus, 40 to 50 °C changes density by %.4f; the reason for minus no longer applies", plus)
		}
	})
}

// TestMolarity checks molarity, fraction and density at 25 °C against every row of
// the independent table, 0.3 %; and against the federal acid classes.
func TestMolarity(t *testing.T) {
	for _, r := range table(t, "data/acid_sg_ocv_25c.csv") {
		w := r.Num(t, "acid_mass_fraction")
		t.Run(fmt.Sprintf("model: %s: fraction %.3f at 25 °C", laliberte, w), func(t *testing.T) {
			want := r.Num(t, "acid_mol_per_L")
			near(t, "mol/L", must(t)(electrolyte.MolarityMolPerL(w, 25)), want, want*0.003)
			near(t, "fraction from molarity", must(t)(electrolyte.MassFractionFromMolarity(want, 25)), w, 0.0022)
			if rho := r.Num(t, "density_25C_kg_m3") / 1000; rho > 1.0651 {
				near(t, "fraction from density", must(t)(electrolyte.MassFraction(rho, 25)), w, 0.0022)
			}
		})
	}
	t.Run("model: "+laliberte+", as in the porous-electrode run: 5.65 mol/L is 1320.5 kg/m3 at 21.7 °C", func(t *testing.T) {
		w := must(t)(electrolyte.MassFractionFromMolarity(5.65, 21.7))
		near(t, "g/mL", must(t)(electrolyte.DensityGPerML(w, 21.7)), 1.3205, 0.0026)
	})
}

func TestDensityRange(t *testing.T) {
	nan := math.NaN()
	for name, f := range map[string]func(a, b float64) (float64, error){
		"DensityGPerML": electrolyte.DensityGPerML, "MolarityMolPerL": electrolyte.MolarityMolPerL,
		"MassFraction": electrolyte.MassFraction, "MassFractionFromMolarity": electrolyte.MassFractionFromMolarity,
	} {
		for _, in := range [][2]float64{{-1, 25}, {0.05, 25}, {99, 25}, {nan, 25}, {0.3, -1}, {1.2, 61}, {1.2, nan}} {
			t.Run(fmt.Sprintf("%s%v", name, in), func(t *testing.T) {
				if got, err := f(in[0], in[1]); !errors.Is(err, electrolyte.ErrRange) || got != 0 {
					t.Errorf("got %v, %v, want 0 and a range error", got, err)
				}
			})
		}
	}
}

// densityGrid reads a table of densities by fraction and temperature, g/mL.
func densityGrid(t *testing.T, file, fraction, temp, density string, scale, densityScale float64) func(w, c float64) float64 {
	t.Helper()
	grid := map[[2]int]float64{} // fraction in 1/1000, temperature in 1/100 °C
	key := func(w, c float64) [2]int { return [2]int{int(math.Round(w * 1000)), int(math.Round(c * 100))} }
	for _, r := range table(t, file) {
		grid[key(r.Num(t, fraction)*scale, r.Num(t, temp))] = r.Num(t, density) * densityScale
	}
	return func(w, c float64) float64 {
		t.Helper()
		rho, ok := grid[key(w, c)]
		if !ok {
			t.Fatalf("%s: no row for fraction %g, %g °C", file, w, c)
		}
		return rho
	}
}

// TestExpansion checks expansion and level against differences of two density
// tables. They disagree by up to 11 % (17 % for weak acid below 25 °C). The
// handbook is followed: the density polynomial is within 3 % of it, and its
// rounding alone is 1 %.
func TestExpansion(t *testing.T) {
	handbook := densityGrid(t, "reference/sulfuric_acid_density_crosscheck.csv",
		"mass_percent", "temp_C", "handbook_rho_g_ml", 0.01, 1)
	independent := densityGrid(t, "data/acid_density_vs_fraction_temperature.csv",
		"acid_mass_fraction", "temperature_C", "density_kg_m3", 1, 0.001)
	for _, c := range []struct {
		source string
		rho    func(w, c float64) float64
		w, tol float64
	}{
		{"memory: handbook table", handbook, 0.20, 0.03}, {"memory: handbook table", handbook, 0.25, 0.03},
		{"memory: handbook table", handbook, 0.30, 0.03}, {"memory: handbook table", handbook, 0.40, 0.03},
		{"model: " + laliberte, independent, 0.20, 0.17}, {"model: " + laliberte, independent, 0.28, 0.11}, {"model: " + laliberte, independent, 0.36, 0.10},
		{"model: " + laliberte, independent, 0.38, 0.10}, {"model: " + laliberte, independent, 0.44, 0.10},
	} {
		for _, span := range [][2]float64{{10, 30}, {20, 40}, {30, 50}} {
			t.Run(fmt.Sprintf("%s: fraction %.2f, %g to %g °C", c.source, c.w, span[0], span[1]), func(t *testing.T) {
				sg, growth := c.rho(c.w, 25), c.rho(c.w, span[0])/c.rho(c.w, span[1])-1
				near(t, "per °C", electrolyte.Expansion(sg, (span[0]+span[1])/2), growth/20, c.tol*growth/20)
				// 1.5 L over a surface of 60 cm2.
				near(t, "mm", electrolyte.LevelRiseMM(1500, 60, span[0], span[1], sg), growth*250, c.tol*growth*250)
			})
		}
	}
	t.Run("memory: handbook table: the default, for charged acid, beside 40 % acid from 20 to 30 °C", func(t *testing.T) {
		growth := (handbook(0.40, 20)/handbook(0.40, 30) - 1) / 10
		near(t, "per °C", electrolyte.ExpansionPerC, growth, 0.03*growth)
	})
	near(t, "the default beside the function, per °C", electrolyte.Expansion(1.280, 25), electrolyte.ExpansionPerC, 0.03e-4)
	nan := math.NaN()
	for _, got := range []float64{electrolyte.LevelRiseMM(-1, 60, 25, 45, 1.28), electrolyte.LevelRiseMM(1500, 0, 25, 45, 1.28),
		electrolyte.LevelRiseMM(1500, 60, nan, 45, 1.28), electrolyte.LevelRiseMM(1500, 60, 25, 45, nan), electrolyte.Expansion(nan, 25)} {
		if !math.IsNaN(got) {
			t.Errorf("bad input gives %v, want NaN", got)
		}
	}
}
