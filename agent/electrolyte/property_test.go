package electrolyte_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"bayward/agent/electrolyte"
)

// draw returns a number between low and high, both included.
func draw(t *rapid.T, name string, low, high float64) float64 {
	return rapid.Float64Range(low, high).Draw(t, name)
}

// TestRoundTrips: each inverse undoes its function.
func TestRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := draw(t, "c", electrolyte.MinDensityC, electrolyte.MaxDensityC)
		w := draw(t, "w", electrolyte.MinMassFraction, electrolyte.MaxMassFraction)
		rho, err1 := electrolyte.DensityGPerML(w, c)
		mol, err2 := electrolyte.MolarityMolPerL(w, c)
		fromRho, err3 := electrolyte.MassFraction(rho, c)
		fromMol, err4 := electrolyte.MassFractionFromMolarity(mol, c)
		for _, err := range []error{err1, err2, err3, err4} {
			if err != nil {
				t.Fatal(err)
			}
		}
		if math.Abs(fromRho-w) > 1e-9 || math.Abs(fromMol-w) > 1e-9 {
			t.Errorf("fraction %v comes back as %v from density, %v from molarity", w, fromRho, fromMol)
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		sg, c := draw(t, "sg", 1.06, 1.39), draw(t, "c", -30, 70)
		if back := electrolyte.GravityFromRestVoltage(electrolyte.RestVoltage(sg, c), c); math.Abs(back-sg) > 1e-12 {
			t.Errorf("gravity %v comes back as %v", sg, back)
		}
		v := draw(t, "v", 1.5, 3)
		if back := electrolyte.Compensate(electrolyte.ChargeLimitAt(v, c), c); math.Abs(back-v) > 1e-12 {
			t.Errorf("voltage %v comes back as %v", v, back)
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		sg, litres, ml := draw(t, "sg", 1.15, 1.30), draw(t, "litres", 0.2, 20), draw(t, "ml/L", -150, 150)
		thin, more, err := electrolyte.GravityAfterWater(sg, litres, ml*litres)
		if err != nil {
			t.Fatal(err)
		}
		back, same, err := electrolyte.GravityAfterWater(thin, more, -ml*litres)
		if err != nil || math.Abs(back-sg) > 1e-8 || math.Abs(same/litres-1) > 1e-8 {
			t.Errorf("%v, %v L come back as %v, %v L, %v", sg, litres, back, same, err)
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		sg, from, to := draw(t, "sg", 1.08, 1.39), draw(t, "from", 0, 60), draw(t, "to", 0, 60)
		const surfaceCM2 = 100
		up := electrolyte.LevelRiseMM(2000, surfaceCM2, from, to, sg)
		down := electrolyte.LevelRiseMM(2000+up*surfaceCM2/10, surfaceCM2, to, from, sg)
		if math.Abs(up+down) > 1e-9 {
			t.Errorf("up %v, down %v", up, down)
		}
	})
}

// TestDirections: more of the cause never gives less of the effect.
func TestDirections(t *testing.T) {
	// lowHigh draws two different values in order.
	lowHigh := func(t *rapid.T, low, high float64) (a, b float64) {
		a = draw(t, "low", low, high)
		return a, draw(t, "high", a, high)
	}
	rises := func(name string, low, high float64, f func(x float64) float64) {
		t.Run(name, rapid.MakeCheck(func(t *rapid.T) {
			a, b := lowHigh(t, low, high)
			if !(f(a) <= f(b)+1e-11) { // what rounding makes of two inputs that hardly differ
				t.Errorf("%v gives %v, but %v gives %v", a, f(a), b, f(b))
			}
		}))
	}
	rises("gassing rises with voltage", 1, 3, func(v float64) float64 { return electrolyte.GassingCurrentA(225, v, 30) })
	rises("gassing rises with temperature", -40, 80, func(c float64) float64 { return electrolyte.GassingCurrentA(225, 2.4, c) })
	rises("gassing rises with capacity", 0, 2000, func(ah float64) float64 { return electrolyte.GassingCurrentA(ah, 2.4, 30) })
	rises("onset falls with temperature", -40, 80, func(c float64) float64 { return -electrolyte.GassingOnsetV(c) })
	rises("freezing point falls with gravity to 1.300", 1, 1.3, func(sg float64) float64 { return -electrolyte.FreezingC(sg) })
	rises("freezing point rises with gravity from 1.300", 1.3, 1.35, electrolyte.FreezingC)
	rises("rest voltage rises with gravity", 1.05, 1.4, func(sg float64) float64 { return electrolyte.RestVoltage(sg, 10) })
	rises("self-discharge rises with temperature", -20, 60, electrolyte.SelfDischargePerDay)
	rises("gas volume rises with temperature", -20, 60, func(c float64) float64 { return electrolyte.HydrogenL(10, c) })
	rises("level rises with temperature", 0, 60, func(c float64) float64 { return electrolyte.LevelRiseMM(1500, 100, 0, c, 1.28) })
	rises("density rises with fraction", 0.1, 0.9, func(w float64) float64 { rho, _ := electrolyte.DensityGPerML(w, 20); return rho })
	rises("density falls with temperature", 0, 60, func(c float64) float64 { rho, _ := electrolyte.DensityGPerML(0.378, c); return -rho })
	rises("bound of the state of charge shrinks with rest", 1, 48, func(h float64) float64 {
		_, pm, _ := electrolyte.StateOfChargeFromRest(2.08, 25, 1.28, h)
		return -pm
	})
}

// TestStateOfChargeAlwaysBounded: for any input, the state of charge and its bound
// are within 0 to 1, and "not ok" never comes with a tight bound.
func TestStateOfChargeAlwaysBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, c := rapid.Float64().Draw(t, "v"), rapid.Float64().Draw(t, "c")
		if rapid.Bool().Draw(t, "likely") {
			v, c = draw(t, "v", 1.8, 2.3), draw(t, "c", -25, 65)
		}
		full, rested := draw(t, "full", 1.1, 1.4), draw(t, "rested", -1, 100)
		soc, pm, ok := electrolyte.StateOfChargeFromRest(v, c, full, rested)
		if !(soc >= 0 && soc <= 1 && pm > 0 && pm <= 1) || (!ok && (soc != 0 || pm != 1)) {
			t.Errorf("%v ± %v, %v", soc, pm, ok)
		}
	})
}

// TestTickPathDoesNotAllocate: these run on every tick for every cell.
func TestTickPathDoesNotAllocate(t *testing.T) {
	sum := 0.0
	for name, f := range tickPath() {
		if n := testing.AllocsPerRun(100, func() { sum += f(2.1) }); n != 0 {
			t.Errorf("%s allocates %v times", name, n)
		}
	}
}

// tickPath lists what runs on every tick, as functions of a voltage near 2.1 V.
func tickPath() map[string]func(v float64) float64 {
	return map[string]func(v float64) float64{
		"GassingCurrentA":        func(v float64) float64 { return electrolyte.GassingCurrentA(225, v, 30) },
		"BoundGassingA":          func(v float64) float64 { return electrolyte.BoundGassingA(v, 3, false) },
		"GassingOnsetV":          func(v float64) float64 { return electrolyte.GassingOnsetV(v * 10) },
		"Compensate":             func(v float64) float64 { return electrolyte.Compensate(v, 30) },
		"RestVoltage":            func(v float64) float64 { return electrolyte.RestVoltage(v-0.85, 30) },
		"GravityFromRestVoltage": func(v float64) float64 { return electrolyte.GravityFromRestVoltage(v, 30) },
		"GravityAt25":            func(v float64) float64 { return electrolyte.GravityAt25(v-0.85, 30) },
		"StateOfChargeFromRest": func(v float64) float64 {
			soc, _, _ := electrolyte.StateOfChargeFromRest(v, 30, 1.28, 8)
			return soc
		},
		"FreezingC":           func(v float64) float64 { return electrolyte.FreezingC(v - 0.85) },
		"SelfDischargePerDay": func(v float64) float64 { return electrolyte.SelfDischargePerDay(v * 10) },
		"WaterML":             electrolyte.WaterML,
		"HydrogenL":           func(v float64) float64 { return electrolyte.HydrogenL(v, 30) },
		"AirflowM3PerH":       func(v float64) float64 { return electrolyte.AirflowM3PerH(12, v) },
		"LevelRiseMM":         func(v float64) float64 { return electrolyte.LevelRiseMM(1500, 100, 25, 40, v-0.85) },
	}
}

// BenchmarkTick measures one call of each function on the tick path.
func BenchmarkTick(b *testing.B) {
	for name, f := range tickPath() {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			sum, v := 0.0, 2.05
			for b.Loop() {
				sum += f(v)
				if v += 1e-6; v > 2.2 {
					v = 2.05
				}
			}
			if math.IsNaN(sum) {
				b.Fatal("not a number")
			}
		})
	}
}
