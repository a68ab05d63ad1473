package pack

import (
	"math"
	"testing"
)

// TestNewtonCooling compares the cooling law, and a pack at rest, with calculated
// values from Newton's law.
func TestNewtonCooling(t *testing.T) {
	seen := 0
	for _, row := range table(t, "testdata/cooling_checks.csv") {
		startC, ambientC, answer := number(t, row["start_C"]), number(t, row["ambient_C"]), number(t, row["answer"])
		tauH, hours, endC := 0.0, 0.0, 0.0
		switch row["question"] {
		case "time_to_target":
			tauH, hours, endC = number(t, row["tau_h"]), answer, number(t, row["target_or_second_reading_C"])
		case "time_constant_from_two_readings":
			tauH, hours, endC = answer, number(t, row["elapsed_h"]), number(t, row["target_or_second_reading_C"])
		case "temperature_after":
			tauH, hours, endC = number(t, row["tau_h"]), number(t, row["elapsed_h"]), answer
		default:
			t.Fatalf("question %q", row["question"])
		}
		seen++
		near(t, row["question"], CooledC(startC, ambientC, tauH, hours), endC, 0.002)
		s := common()
		s.PackC, s.TauH, s.StateOfCharge = startC, tauH, 0.1 // hardly any self-discharge, which warms
		p := mustNew(t, s)
		for range int(math.Round(hours * 360)) {
			p.Step(10, Supply{}, 0, ambientC)
		}
		near(t, row["question"]+" of a pack", p.PackC(), endC, 0.05)
	}
	if seen < 10 {
		t.Fatalf("only %d rows", seen)
	}
}

// TestFinishHeat: 12 cells, 10 A, all of it gassing: 12 * 10 A * (V - 1.48 V);
// at 2.6 V that is 134 W (thermoneutral voltage from memory).
func TestFinishHeat(t *testing.T) {
	s := common()
	s.StateOfCharge, s.TauH = 0.999, 0.1
	p := mustNew(t, s)
	feed(p, 10, 8, 25)
	want := 12 * 10 * (p.Volts()/12 - 1.48)
	near(t, "heat in W", p.heatW(p.Amps()), want, want*0.05)
	near(t, "heat scaled to 2.6 V", p.heatW(p.Amps())*(2.6-1.48)/(p.Volts()/12-1.48), 134, 134*0.05)
}

// TestNoFreeEnergy: a cycle of discharge and charge returns less energy than it takes,
// and the difference is heat and gas (and a little because the cells do not end
// exactly where they began).
func TestNoFreeEnergy(t *testing.T) {
	s := common()
	s.StateOfCharge = 0.8
	p := mustNew(t, s)
	var before [12]CellState
	for i := range before {
		before[i] = p.Cell(i + 1)
	}
	feed(p, -30, 2, 25)
	feed(p, 20, 1, 25)
	for p.Cell(1).StateOfCharge < before[0].StateOfCharge {
		feed(p, 20, 0.01, 25)
	}
	sum := p.Totals()
	gasWh, storedWh := 0.0, 0.0
	for i := range 12 {
		c := p.Cell(i + 1)
		gasWh += 1.48 * (c.GassingAh + c.SelfAh)
		storedV := RestV(1.277-0.14*(1-c.StateOfCharge)) - restVPerK*298.15
		storedWh += storedV * c.CapacityAh * (c.StateOfCharge - before[i].StateOfCharge)
	}
	if sum.NetWh <= 0 || sum.HeatWh <= 0 {
		t.Errorf("a cycle took %.1f Wh and made %.1f Wh of heat", sum.NetWh, sum.HeatWh)
	}
	near(t, "energy in Wh", sum.NetWh, sum.HeatWh+gasWh+storedWh, 0.5)
}

// TestHydrogen: 0.4564 L for each Ah and cell at 25 °C (CODATA constants), and
// a room ventilated by exactly Q = 0.055 n I (EN 62485-3) settles at 0.83 %.
func TestHydrogen(t *testing.T) {
	near(t, "m³/Ah", hydrogenM3PerAh, 0.45642e-3, 1e-8)
	r := NewRoom(12, 225)
	near(t, "fan of a 24 V 225 Ah pack", r.fanM3PerH, 0.055*12*13.5, 1e-9)
	r.fanM3PerH -= draughtPerH * roomM3 // fan and draught together give Q
	for range 40 * 3600 {
		r.Step(1, 12*13.5, true)
	}
	near(t, "% of hydrogen", r.Percent(), 0.83, 0.005)
}

// TestExpansion: 1 L of acid near SG 1.28 grows 5.65 mL from 25 to 35 °C and
// 11.43 mL to 45 °C (computed from Myhre et al. 1998, another correlation than
// the one used here).
func TestExpansion(t *testing.T) {
	l := level{areaCM2: 100, ventWellMM: 99, acidML: 1000}
	near(t, "mm at 35 °C", l.standingMM(35), 0.565, 0.03)
	near(t, "mm at 45 °C", l.standingMM(45), 1.143, 0.05)
}
