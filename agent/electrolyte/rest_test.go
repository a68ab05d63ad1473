package electrolyte_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"bayward/agent/electrolyte"
)

// TestRestVoltageRule checks all rows of both published rules. They disagree by
// 5 mV: SG + 0.845 (DOE-HDBK-1084-95) is used, because textbook tables and the
// potentials of Bode fit it better; SG + 0.84 (TM 5-684) is within the tolerance.
func TestRestVoltageRule(t *testing.T) {
	for _, r := range table(t, "reference/ocv_vs_sg.csv") {
		sg := r.Num(t, "sg_25C")
		t.Run(fmt.Sprintf("arithmetic: DOE-HDBK-1084-95: SG + 0.845 at %.3f (used)", sg), func(t *testing.T) {
			near(t, "V", electrolyte.RestVoltage(sg, 25), r.Num(t, "cell_ocv_V_sg_plus_0.845 (DOE-HDBK-1084-95)"), 1e-9)
			near(t, "12 cells, V", 12*electrolyte.RestVoltage(sg, 25), r.Num(t, "pack_24V_12cells_V_using_0.845"), 1e-9)
		})
		t.Run(fmt.Sprintf("published: TM 5-684/MO-200: SG + 0.84 at %.3f (other source)", sg), func(t *testing.T) {
			near(t, "V", electrolyte.RestVoltage(sg, 25), r.Num(t, "cell_ocv_V_sg_plus_0.84 (TM 5-684)"), 0.0050001)
		})
	}
	rules := table(t, "data/us_government_rules.csv")
	for _, r := range pick(t, rules, "rule", "ocv_from_sg", 3) {
		t.Run("arithmetic: "+r["source"]+": "+r["input_value"], func(t *testing.T) {
			near(t, "V", electrolyte.RestVoltage(r.Num(t, "input_value"), 25), r.Num(t, "expected_value"), 1e-9)
		})
	}
	for _, r := range pick(t, rules, "rule", "sg_from_ocv", 1) {
		t.Run("arithmetic: "+r["source"]+": "+r["input_value"]+" V", func(t *testing.T) {
			near(t, "SG", electrolyte.GravityFromRestVoltage(r.Num(t, "input_value"), 25), r.Num(t, "expected_value"), 1e-9)
		})
	}
}

// TestRestVoltageAgainstPotentials checks the rule against every row of the published
// fit of measured potentials (Bode 1977) at 25 °C, 5.1 mV from 1.236, 9 to 1.20, 16 to 1.137, 21
// below. Relative to water at 25 °C, as some hydrometers are marked, the rule would
// be 3 to 5 mV better; the difference of scales is part of the bound of the state
// of charge.
func TestRestVoltageAgainstPotentials(t *testing.T) {
	for _, r := range table(t, "data/acid_sg_ocv_25c.csv") {
		sg := r.Num(t, "sg_25_4")
		tol := 0.021
		switch {
		case sg >= 1.236:
			tol = 0.0051
		case sg >= 1.199:
			tol = 0.009
		case sg >= 1.137:
			tol = 0.016
		}
		t.Run(fmt.Sprintf("model: Bode, Lead-Acid Batteries (1977): %.4f", sg), func(t *testing.T) {
			near(t, "V", electrolyte.RestVoltage(sg, 25), r.Num(t, "ocv_V"), tol)
		})
	}
}

// TestRestVoltageTemperature: the coefficient against the entropy of the cell
// reaction Pb + PbO2 + 2 H+ + 2 HSO4- = 2 PbSO4 + 2 H2O. Standard entropies in
// J/(mol K), from memory: CODATA key values (Pb 64.80, PbSO4 148.50, H2O 69.95,
// HSO4- 131.7), NBS tables (PbO2 68.6). 0.05 mV for real concentrations.
func TestRestVoltageTemperature(t *testing.T) {
	t.Run("memory: CODATA key values and NBS tables: dE/dT = dS/2F", func(t *testing.T) {
		dS := 2*148.50 + 2*69.95 - 64.80 - 68.6 - 2*131.7
		near(t, "V per °C", electrolyte.RestVPerC, dS/(2*96485), 0.00005)
	})
	t.Run("memory: Harned and Hamer, J. Am. Chem. Soc. 57 (1935) 27: +0.2 mV per °C", func(t *testing.T) {
		near(t, "V", electrolyte.RestVoltage(1.28, 45)-electrolyte.RestVoltage(1.28, 25), 0.004, 1e-9)
	})
}

// TestStateOfChargeTables checks every row of both Army gravity tables and the
// voltage table. The tables disagree (spans of 0.120 to 0.150); a linear fall over
// 0.140 is between them and has the form that DOE-HDBK-1084-95 gives.
func TestStateOfChargeTables(t *testing.T) {
	rows := table(t, "reference/state_of_charge_tables.csv")
	for _, c := range []struct {
		source    string
		full, tol float64
		rows      int
	}{{"TM 5-1185 table II", 1.280, 0.12, 6}, {"TM 5-4210-230-14&P-1 table 2", 1.265, 0.05, 5}} {
		for _, r := range pick(t, pickKind(rows, "specific_gravity"), "source", c.source, c.rows) {
			t.Run(fmt.Sprintf("%s%s: %s", r.Kind(t), r["source"], r["value"]), func(t *testing.T) {
				soc, ok := electrolyte.StateOfChargeFromGravity(r.Num(t, "value"), c.full)
				want := 0.05 // almost discharged
				if r["state_of_charge_percent"] != "almost discharged" {
					want = r.Num(t, "state_of_charge_percent") / 100
				}
				if !ok {
					t.Error("not ok")
				}
				near(t, "state of charge", soc, want, c.tol)
			})
		}
	}
	for _, r := range pick(t, rows, "kind", "ocv_12V_battery_V", 5) {
		t.Run(fmt.Sprintf("%s%s: %s V for 12 V", r.Kind(t), r["source"], r["value"]), func(t *testing.T) {
			// The table drains surface charge first, so it counts as settled; its
			// vehicle battery is full at 1.265 (TM 5-4210). The result must be
			// within the bound that the function itself returns.
			soc, pm, ok := electrolyte.StateOfChargeFromRest(r.Num(t, "value")/6, 25, 1.265, 16)
			if !ok {
				t.Fatal("not ok")
			}
			near(t, "state of charge", soc, r.Num(t, "state_of_charge_percent")/100, pm)
			if pm > 0.35 {
				t.Errorf("bound ±%.2f is too wide", pm)
			}
		})
	}
}

func pickKind(rows []row, kind string) []row {
	var kept []row
	for _, r := range rows {
		if r["kind"] == kind {
			kept = append(kept, r)
		}
	}
	return kept
}

// TestGravityAtRestAgainstModel checks the gravity derived from a resting cell
// against the true mean acid of a porous-electrode model, after discharges at three
// rates and a charge. Tolerance: the rule's 5 mV (16 at 1.14) plus the bound's
// allowance for the surface, 80 mV falling with 4 h.
func TestGravityAtRestAgainstModel(t *testing.T) {
	seen := 0
	for _, file := range []string{"cycle", "discharge_c2", "discharge_c5", "discharge_c20"} {
		t.Run("model: Sulzer et al., J. Electrochem. Soc. 166 (2019) A2363, run "+file, func(t *testing.T) {
			stage, start := "", 0.0
			for _, r := range table(t, "data/porous_electrode_17ah_"+file+".csv") {
				if r["stage"] != stage {
					stage, start = r["stage"], r.Num(t, "t_s")
				}
				if !strings.HasPrefix(stage, "rest_after") {
					continue
				}
				seen++
				c := r.Num(t, "temperature_C")
				// 0.00074 per °C for charged acid, by the density model itself.
				want := r.Num(t, "acid_density_kg_m3")/1000 + 0.00074*(c-25)
				tol := 0.0051 + 0.11*math.Max(1.236-want, 0) + 0.080*math.Exp(-(r.Num(t, "t_s")-start)/hourS/4)
				near(t, stage+" "+r["t_s"]+" s", electrolyte.GravityFromRestVoltage(r.Num(t, "cell_voltage_V"), c), want, tol)
			}
		})
	}
	if seen < 100 {
		t.Errorf("only %d samples at rest", seen)
	}
}

// TestRestAfterMeasuredCharge: rests of a real battery after full charges. Its
// cells contain 5.65 mol/L when full (the parameter set of the paper), 1.318 at
// 25 °C. From one hour on every sample must be taken as full, and the remaining
// surface charge must be within the stated bound.
func TestRestAfterMeasuredCharge(t *testing.T) {
	const full = 1.318
	seen := 0
	for _, s := range table(t, "data/measured_12v17ah_segments.csv") {
		if s["kind"] != "rest" || s.Num(t, "V_first") < 13.3 {
			continue // not after a charge
		}
		t.Run(fmt.Sprintf("measured: Sulzer et al. (2019), record %s at %s s", s["file"], s["t_start_s"]), func(t *testing.T) {
			start := s.Num(t, "t_start_s")
			for _, r := range table(t, "data/"+s["file"]) {
				at := r.Num(t, "t_s")
				if at < start || at > s.Num(t, "t_end_s") || r["voltage_V"] == "" {
					continue
				}
				if math.Abs(r.Num(t, "current_A")) > 0.05 {
					start = at // float pulses: the rest begins after the last one
					continue
				}
				seen++
				v, restedH := r.Num(t, "voltage_V")/6, (at-start)/hourS
				if restedH > 0.05 { // float voltage itself falls off within a minute or two
					near(t, fmt.Sprintf("V after %.2f h", restedH), v, electrolyte.RestVoltage(full, 25), 0.0051+0.080*math.Exp(-restedH/4))
				}
				soc, pm, ok := electrolyte.StateOfChargeFromRest(v, 25, full, restedH)
				if ok != (restedH >= 1) {
					t.Errorf("ok %v after %.2f h at %.4f V", ok, restedH, v)
				}
				if ok && (soc < 1-pm || pm > 0.6) {
					t.Errorf("%.2f ± %.2f after %.2f h, the charge was complete", soc, pm, restedH)
				}
			}
		})
	}
	if seen < 50 {
		t.Errorf("only %d samples", seen)
	}
}

func TestStateOfChargeFromRestRange(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name                     string
		v, temp, full, rested    float64
		ok                       bool
		wantSoC, wantMax, wantPM float64
	}{
		// Bound after a full rest: 5.1, 4 and 1.5 mV of 140.
		{"full and settled", 2.125, 25, 1.280, 16, true, 1, 1, 0.08},
		{"half and settled", 2.055, 25, 1.280, 24, true, 0.5, 0.5, 0.17},
		{"flat and settled", 1.985, 25, 1.280, 24, true, 0, 0, 0.30},
		{"one dead cell of twelve reads flat", 2.125 * 11 / 12, 25, 1.280, 16, true, 0, 0, 0.35},
		{"rest too short", 2.125, 25, 1.280, 0.9, false, 0, 0, 1},
		{"rest unknown", 2.125, 25, 1.280, nan, false, 0, 0, 1},
		{"voltage unknown", nan, 25, 1.280, 16, false, 0, 0, 1},
		{"temperature unknown", 2.125, nan, 1.280, 16, false, 0, 0, 1},
		{"power-on value of a temperature sensor", 2.125, 85, 1.280, 16, false, 0, 0, 1},
		{"full gravity not a battery's", 2.125, 25, 1.1, 16, false, 0, 0, 1},
		{"two dead cells of twelve", 2.125 * 10 / 12, 25, 1.280, 16, false, 0, 0, 1},
		{"charge voltage taken for rest", 2.40, 25, 1.280, 16, false, 0, 0, 1},
		{"surface charge beyond its bound", 2.20, 25, 1.280, 16, false, 0, 0, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			soc, pm, ok := electrolyte.StateOfChargeFromRest(c.v, c.temp, c.full, c.rested)
			if ok != c.ok || soc < c.wantSoC-1e-9 || soc > c.wantMax+1e-9 || pm > c.wantPM {
				t.Errorf("got %.3f ± %.3f, %v, want %.3f ± at most %.3f, %v", soc, pm, ok, c.wantSoC, c.wantPM, c.ok)
			}
		})
	}
}

// TestSpanByAcidMass: what a discharge takes from the acid, Pb + PbO2 + 2 H2SO4 =
// 2 PbSO4 + 2 H2O: two moles of acid become two of water for two electrons. Molar masses
// IUPAC; 26.80 Ah per mole of electrons; densities of an independent model.
func TestSpanByAcidMass(t *testing.T) {
	rows := table(t, "data/acid_sg_ocv_25c.csv")
	between := func(x float64, from, to string, scale float64) float64 {
		for i, r := range rows[1:] {
			if high := r.Num(t, from); x*scale <= high {
				low, a, b := rows[i].Num(t, from), rows[i].Num(t, to), r.Num(t, to)
				return a + (x*scale-low)/(high-low)*(b-a)
			}
		}
		t.Fatalf("%g is not in the table", x)
		return 0
	}
	after := func(mlPerAh float64) float64 {
		massG := mlPerAh * 1.280
		fraction := between(1.280, "density_25C_kg_m3", "acid_mass_fraction", 1000)
		acidG, leftG := fraction*massG-98.078/26.80, massG-(98.078-18.015)/26.80
		return between(acidG/leftG, "acid_mass_fraction", "density_25C_kg_m3", 1) / 1000
	}
	t.Run("model: acid mass and "+laliberte+": 13.7 ml per Ah, 1.280 to 1.140", func(t *testing.T) {
		near(t, "gravity", 1.280-electrolyte.GravitySpan, after(13.7), 0.002)
	})
	t.Run("model: acid mass and "+laliberte+": 10 ml per Ah, the frost rule's", func(t *testing.T) {
		near(t, "gravity", 1.280-electrolyte.FrostSpan, after(10), 0.002)
	})
	t.Run("published: TM 5-4210-230-14&P-1 table 2: 1.265 is flat at 1.120, the frost rule's no higher", func(t *testing.T) {
		if flat := 1.265 - electrolyte.FrostSpan; flat > 1.120 {
			t.Errorf("flat at %.3f", flat)
		}
	})
}
