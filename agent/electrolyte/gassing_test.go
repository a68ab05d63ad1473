package electrolyte_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"bayward/agent/electrolyte"
)

const schiffer = "Schiffer et al., J. Power Sources 168 (2007) 66, section 3.2"

// TestGassingCurrentTable checks all rows of the published law, current and water,
// to the six figures that the table prints. The table was made from the same law: it
// finds a slip in the code and shows nothing about how a battery gasses.
func TestGassingCurrentTable(t *testing.T) {
	rows := table(t, "data/gassing_current_vs_voltage_temperature.csv")
	if len(rows) != 91 {
		t.Fatalf("%d rows, want 91", len(rows))
	}
	for _, r := range rows {
		v, k := r.Num(t, "cell_voltage_V"), r.Num(t, "temperature_K")
		t.Run(fmt.Sprintf("arithmetic: %s: %.2f V, %.0f K", schiffer, v, k), func(t *testing.T) {
			want := r.Num(t, "gassing_current_A_per_100Ah_vented")
			got := electrolyte.GassingCurrentA(100, v, k-273.15)
			near(t, "A", got, want, want*1e-5+1e-8)
			// Water in the table takes the book's 0.336 cm3 per Ah: 0.4 %.
			water := r.Num(t, "water_loss_cm3_per_h_per_100Ah_vented")
			near(t, "cm3/h", electrolyte.WaterML(got), water, water*0.004)
		})
	}
}

// TestGassingOrder checks what the law's own table cannot show: its order of magnitude,
// its rise with voltage and with temperature, against design figures for vented cells.
// EN IEC 62485-2, as trade articles quote it: 5 mA/Ah on float (2.23 V) and 20 on boost
// (2.40 V), of which a factor of 5 is safety. They are for old cells, so the law is below,
// by no more than its own stated factor of 5.
func TestGassingOrder(t *testing.T) {
	for v, design := range map[float64]float64{2.23: 5, 2.40: 20} {
		t.Run(fmt.Sprintf("published: EN IEC 62485-2: %g mA/Ah at %.2f V, a fifth of it real", design, v), func(t *testing.T) {
			if got := 10 * electrolyte.GassingCurrentA(100, v, 25); got > design/5 || got < design/5/5.05 {
				t.Errorf("the law has %.3f mA/Ah", got)
			}
		})
	}
	t.Run("published: EN IEC 62485-2: four times as much at 2.40 V as at 2.23 V", func(t *testing.T) {
		rise := electrolyte.GassingCurrentA(100, 2.40, 25) / electrolyte.GassingCurrentA(100, 2.23, 25)
		near(t, "volts for one e-fold", 0.17/math.Log(rise), 0.17/math.Log(4), 0.04)
	})
	t.Run("published: UFC 3-410-04N (2004) chapter 8: the current doubles for each 15 °F", func(t *testing.T) {
		rise := electrolyte.GassingCurrentA(100, 2.40, 25+15/1.8) / electrolyte.GassingCurrentA(100, 2.40, 25)
		near(t, "rise", rise, 2, 0.4)
	})
}

// TestGassingModelRuns integrates the law over two reference-model runs of one
// 500 Ah cell and compares charge and water. Tolerance 1 %: the runs are sampled at
// intervals of up to a minute, while the current changes in steps.
func TestGassingModelRuns(t *testing.T) {
	for _, c := range []struct {
		file    string
		waterML float64 // 0.336 cm3/Ah, as the data's notes print
	}{{"gassing_model_500ah_iuia_25c.csv", 16.02}, {"gassing_model_500ah_iuia_45c.csv", 18.39}} {
		t.Run("arithmetic: "+schiffer+", run "+c.file, func(t *testing.T) {
			rows := table(t, "data/"+c.file)
			ah, before := 0.0, rows[0]
			for _, r := range rows[1:] {
				hours := (r.Num(t, "t_s") - before.Num(t, "t_s")) / hourS
				ah += hours * (gassingOf(t, before) + gassingOf(t, r)) / 2
				before = r
			}
			want := before.Num(t, "gassing_charge_Ah")
			near(t, "Ah", ah, want, want*0.01)
			near(t, "mL", electrolyte.WaterML(ah), c.waterML, c.waterML*0.014)
		})
	}
}

func gassingOf(t *testing.T, r row) float64 {
	return electrolyte.GassingCurrentA(500, r.Num(t, "cell_voltage_V"), r.Num(t, "temperature_C"))
}

func TestGassingRange(t *testing.T) {
	at := electrolyte.GassingCurrentA
	for _, c := range []struct {
		name       string
		v, temp    float64
		atV, atC   float64
		accepted   bool
		sameAsEdge bool
	}{
		{"inside", 2.4, 25, 2.4, 25, true, true},
		{"edges count as inside", 1.8, 60, 1.8, 60, true, true},
		{"below the voltage range", 0.3, 25, 1.8, 25, false, true},
		{"above the voltage range", 9, 25, 2.8, 25, false, true},
		{"below the temperature range", 2.4, -40, 2.4, -20, false, true},
		{"above the temperature range", 2.4, 85, 2.4, 60, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			near(t, "A", at(100, c.v, c.temp), at(100, c.atV, c.atC), 0)
			if got := electrolyte.InGassingRange(c.v, c.temp); got != c.accepted {
				t.Errorf("in range %v, want %v", got, c.accepted)
			}
		})
	}
	nan := math.NaN()
	for _, in := range [][3]float64{{nan, 2.4, 25}, {-1, 2.4, 25}, {100, nan, 25}, {100, 2.4, nan}} {
		if got := at(in[0], in[1], in[2]); !math.IsNaN(got) {
			t.Errorf("GassingCurrentA%v = %v, want NaN", in, got)
		}
	}
	if electrolyte.InGassingRange(nan, 25) || electrolyte.InGassingRange(2.4, nan) {
		t.Error("NaN counts as in range")
	}
}

// TestBoundGassing checks the charge balance, UFC 3-520-01 (2002) 14-1.3.2.2 (the
// most a full cell can make is all of its current).
func TestBoundGassing(t *testing.T) {
	for _, c := range []struct {
		name         string
		law, current float64
		full         bool
		want         float64
	}{
		{"full cell gasses all of the current, law too low", 1, 5, true, 5},
		{"full cell gasses all of the current, law too high", 8, 5, true, 5},
		{"before full, law below the current", 1, 5, false, 1},
		{"before full, never more than the current", 8, 5, false, 5},
		{"at rest the law applies", 0.02, 0, true, 0.02},
		{"on discharge the law applies", 0.02, -30, false, 0.02},
	} {
		t.Run(c.name, func(t *testing.T) {
			near(t, "A", electrolyte.BoundGassingA(c.law, c.current, c.full), c.want, 0)
		})
	}
	if got := electrolyte.BoundGassingA(1, math.NaN(), false); !math.IsNaN(got) {
		t.Errorf("unknown current gives %v, want NaN", got)
	}
}

// TestGassingOnset checks the onset against both sources. They disagree: 2.37 V at
// 25 °C (TM 10-6140-200-14, seen) and 2.39 V (a table whose source was not found,
// from memory). 2.37 is used because it is never later than the other.
func TestGassingOnset(t *testing.T) {
	for _, r := range table(t, "reference/gassing_voltage.csv") {
		if r["temp_C"] == "" {
			continue // normal and rapid gassing, without a temperature
		}
		c, v := r.Num(t, "temp_C"), r.Num(t, "V_per_cell")
		t.Run(fmt.Sprintf("%s%s: %.0f °C", r.Kind(t), r["source"], c), func(t *testing.T) {
			got := electrolyte.GassingOnsetV(c)
			switch {
			case strings.HasPrefix(r["source"], "TM 10-6140"):
				near(t, "chosen, V", got, v, 0)
			case got > v:
				t.Errorf("onset %.3f V is later than %.3f V", got, v)
			case c >= 20:
				near(t, "other source, V", got, v, 0.035)
			case c >= 0:
				near(t, "other source, V", got, v, 0.08)
			default:
				near(t, "other source, V", got, v, 0.43)
			}
		})
	}
	t.Run("published: TM 10-6140-200-14, 2-8: gassing is normal at 2.40 V and rapid at 2.50 V", func(t *testing.T) {
		if v := electrolyte.GassingOnsetV(25); !(v < 2.40) {
			t.Errorf("onset %.3f V", v)
		}
	})
}

// TestCompensate checks -5 mV per °C and cell about 25 °C, Linden, Handbook of
// Batteries (from memory); textbooks range from -3 to -6 mV.
func TestCompensate(t *testing.T) {
	for _, c := range []struct{ atC, limit float64 }{{10, 2.525}, {25, 2.45}, {40, 2.375}} {
		t.Run(fmt.Sprintf("arithmetic: Linden (from memory), -5 mV per °C: a 2.45 V limit at %.0f °C is %.3f V", c.atC, c.limit), func(t *testing.T) {
			near(t, "limit, V", electrolyte.ChargeLimitAt(2.45, c.atC), c.limit, 1e-12)
			near(t, "referred, V", electrolyte.Compensate(c.limit, c.atC), 2.45, 1e-12)
		})
	}
	for _, perC := range []float64{-0.003, -0.006} {
		t.Run(fmt.Sprintf("memory: textbook range: %.0f mV per °C differs by at most 2 mV per °C", perC*1000), func(t *testing.T) {
			near(t, "V at 40 °C", electrolyte.ChargeLimitAt(2.45, 40), 2.45+perC*15, 0.002*15+1e-12)
		})
	}
	near(t, "clamped at 60 °C", electrolyte.Compensate(2.4, 90), electrolyte.Compensate(2.4, 60), 0)
}
