package hardware

import (
	"math"
	"strings"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/lease"
	"bayward/agent/reading"
	"bayward/sensors"
	"bayward/sensors/level"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// simulatedConfig has a bay with each kind of level probe.
func simulatedConfig() *config.Config {
	p := config.Pack{
		Name: "lift-24v", Cells: 12, CapacityAh: 225, RateHours: 20, FullGravity: 1.277, ChargeLevelMM: 3,
		FillMarkMM: 13, VentWellMM: 22, FreeSurfaceCM2: 130, ElectrolyteML: 1350,
	}
	c := &config.Config{Packs: []config.Pack{p}}
	rods := []level.Rod{{HeightMM: 0, SeriesOhm: 22000}, {HeightMM: 4, SeriesOhm: 10000}, {HeightMM: 13, SeriesOhm: 4700}}
	for i, name := range []string{"sender", "rod", "ladder"} {
		w := config.DefaultWiring(i, p)
		if name != "sender" {
			in := wiring.Input{ADC: 0x49, RangeV: 4.096, Rate: 128}
			w.Level = &wiring.Level{Input: in, Kind: level.Kind(name), Expander: 0x20, Settings: level.Settings{ReferenceOhm: 10000, EndOhm: 22000, Rods: rods[:1]}}
		}
		if name == "ladder" {
			minus := 3
			w.Level.Rods, w.Level.OffsetMM, w.Hydrogen = rods, 0.5, nil
			w.Current = &wiring.Current{Input: w.Current.Input, Kind: "shunt", Minus: &minus, AmperesPerVolt: 1000}
			w.Current.RangeV = 0.256
			w.Temperature.OffsetC = 1.5
		}
		c.Bays = append(c.Bays, config.Bay{Name: name, Pack: p.Name, Wiring: w})
	}
	return c
}

func good(t *testing.T, what string, r reading.Reading, want, tolerance float64) {
	t.Helper()
	if !r.OK() || math.Abs(r.Value-want) > tolerance {
		t.Errorf("%s: %v (%v), want %v ± %v", what, r.Value, r.Fault, want, tolerance)
	}
}

// TestDriversReadTheTruth runs the drivers of a Pi on the simulated bays: their
// readings match the simulated state.
func TestDriversReadTheTruth(t *testing.T) {
	cfg := simulatedConfig()
	start := sim.Opts{StateOfCharge: 0.4, LevelMM: 7, PackC: 31, AmbientC: 19, Connected: true}
	bench, bays, err := Simulate(cfg, map[string]sim.Opts{"sender": start, "rod": start, "ladder": start})
	if err != nil {
		t.Fatal(err)
	}
	opened, err := sensors.Open(cfg, sensors.Hardware{
		Bus: bench.Bus, SPI: bench.SPI, Pin: bench.Input, OneWire: bench.OneWire(), Wait: bench.Wait, Now: bench.Now,
	})
	if err != nil {
		t.Fatal(err)
	}
	keeper, err := KeepHere(cfg, bench, bench.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer keeper.Close()
	var relays []*lease.Relay
	for i := range cfg.Bays {
		relays = append(relays, keeper.Relay(&cfg.Bays[i]))
	}
	for range 60 {
		for _, r := range relays {
			if err := r.Lease(keeper.Now(), lease.Longest, true); err != nil {
				t.Fatal(err)
			}
		}
		bench.Advance(time.Second)
	}
	for _, b := range opened {
		var r bay.Readings
		for _, s := range b.Sources() {
			s.Sample(t.Context(), &r)
		}
		checkReadings(t, b.Name(), r, bays[b.Name()].Truth())
	}
}

func checkReadings(t *testing.T, name string, r bay.Readings, truth sim.Truth) {
	t.Helper()
	if truth.CurrentA < 20 {
		t.Fatalf("%s: %v A, not charging", name, truth.CurrentA)
	}
	good(t, name+" voltage", r.PackV, truth.PackV, 0.02)
	good(t, name+" current", r.CurrentA, truth.CurrentA, 0.3)
	good(t, name+" ambient", r.AmbientC, truth.AmbientC, 0.04)
	good(t, name+" contactor", r.ContactorClosed, 1, 0)
	good(t, name+" airflow", r.Airflow, 1, 0)
	good(t, name+" complete", r.ChargerComplete, 0, 0)
	good(t, name+" temperature", r.PackC, truth.PackC, 0.1)
	levelMM := truth.Cells[0].LevelMM
	if !r.Level.Usable() || r.Level.LowMM > levelMM+0.2 || r.Level.HighMM < levelMM-0.2 {
		t.Errorf("%s: level %+v, true %v", name, r.Level, levelMM)
	}
}

func TestSimulateRefuses(t *testing.T) {
	cfg := simulatedConfig()
	if _, _, err := Simulate(cfg, map[string]sim.Opts{"elsewhere": {}}); err == nil || !strings.Contains(err.Error(), "elsewhere") {
		t.Errorf("unknown bay: %v", err)
	}
	cfg.Bays[1].Pack = "none"
	if _, _, err := Simulate(cfg, nil); err == nil || !strings.Contains(err.Error(), `"none"`) {
		t.Errorf("unknown pack: %v", err)
	}
}
