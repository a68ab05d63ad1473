package level_test

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/config/exampletest"
	"bayward/agent/reading"
	"bayward/agent/words"
	"bayward/sensors"
	"bayward/sensors/level"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// TestEveryKind: a kind of probe is complete when it has a complete row, is in the
// example and in the schema, and when the simulator can play it. The test names
// what is missing. The tests of agent/commission check the walk.
func TestEveryKind(t *testing.T) {
	for _, kind := range level.Kinds() {
		t.Run(string(kind), func(t *testing.T) {
			t.Run("row", func(t *testing.T) { rowIsWhole(t, kind) })
			t.Run("example", func(t *testing.T) { exampled(t, kind) })
			t.Run("schema", func(t *testing.T) { inSchema(t, kind) })
			t.Run("simulator", func(t *testing.T) { simulated(t, kind) })
		})
	}
}

func rowIsWhole(t *testing.T, kind level.Kind) {
	if kind.About() == "" || len(kind.Keys()) == 0 || kind.Opened() == nil || kind.Shorted() == nil {
		t.Error("the row is incomplete: about, keys, opened, shorted")
	}
	if kind.Measures() != (kind.Takes("low_mm") && kind.Takes("high_mm")) || kind.Measures() == (kind.Rods().Most > 0) {
		t.Error("a kind either measures, from low_mm to high_mm, or has rods")
	}
	if !kind.Takes("offset_mm") {
		t.Error("it does not accept offset_mm, which adjusts every probe")
	}
	for _, key := range kind.Keys() {
		if !(key.Low < key.High) || key.Unit == "" {
			t.Errorf("%s: from %g to %g %q", key.Name, key.Low, key.High, key.Unit)
		}
	}
	if kind.Rods().Most > 0 && (!words.EnglishSI().Has("config.level."+kind.Rods().Code) || kind.Rods().Least < 1 || kind.Rods().Most > level.MaxRods) {
		t.Errorf("rods: %+v", kind.Rods())
	}
}

func exampled(t *testing.T, kind level.Kind) *config.Config {
	t.Helper()
	c, err := config.Parse("example", []byte(exampletest.WithLevel(t, string(kind))))
	if err != nil {
		t.Fatal(err)
	}
	probe, err := level.New(kind, c.Bays[0].Wiring.Level.Settings)
	if err != nil {
		t.Fatal(err)
	}
	if _, scale := probe.(level.Scale); scale != kind.Measures() {
		t.Errorf("its probe has a scale: %v; it measures: %v", scale, kind.Measures())
	}
	return c
}

func inSchema(t *testing.T, kind level.Kind) {
	var schema struct {
		Defs map[string]struct {
			Properties map[string]struct{ Enum []any }
		} `json:"$defs"`
	}
	if err := json.Unmarshal(config.Schema(), &schema); err != nil {
		t.Fatal(err)
	}
	if !slices.Contains(schema.Defs["Level"].Properties["kind"].Enum, any(string(kind))) {
		t.Error("it is not in the schema: go test ./agent/config -run Schema -update")
	}
}

// simulated reads the probe of the example on a simulated bay through the real
// drivers: a level between the plate tops and the fill mark, a broken wire and a
// short.
func simulated(t *testing.T, kind level.Kind) {
	c := exampled(t, kind)
	probe := c.Bays[0].Wiring.Level
	c.Bays[0].Wiring = wiring.Parts{
		I2C: "1", Level: probe, Relay: &wiring.Relay{Pin: "GPIO17"},
	}
	bench := sim.NewBench()
	y, err := bench.Add(sim.Opts{
		Name: "bay-1", Cells: 12, CapacityAh: 225, VentWellMM: 22, FreeSurfaceCM2: 130,
		StateOfCharge: 0.5, LevelMM: 8, AmbientC: 20, Connected: true, Seed: 1,
	}, c.Bays[0].Wiring)
	if err != nil {
		t.Fatal(err)
	}
	bays, err := sensors.Open(c, sensors.Hardware{Bus: bench.Bus, SPI: bench.SPI, Pin: bench.Input, OneWire: bench.OneWire(), Wait: bench.Wait, Now: bench.Now})
	if err != nil {
		t.Fatal(err)
	}
	faults := map[error]reading.Fault{level.ErrOpen: reading.Open, level.ErrShort: reading.Short, level.ErrOverRange: reading.OverRange}
	read := func() bay.Readings {
		bench.Advance(2 * time.Minute)
		var out bay.Readings
		bays[0].Sources()[0].Sample(t.Context(), &out)
		return out
	}
	mm := y.Truth().Cells[y.PilotCell()-1].LevelMM
	if got := read().Level; !got.Usable() || got.LowMM > mm+0.5 || got.HighMM < mm-0.5 || kind.Measures() && math.Abs(got.LowMM-mm) > 0.5 {
		t.Errorf("at %.1f mm it reads %+v", mm, got)
	}
	for _, fault := range []struct {
		kind sim.FaultKind
		why  error
	}{{sim.ProbeOpen, kind.Opened()}, {sim.ProbeShort, kind.Shorted()}} {
		y.SetFault(fault.kind, true)
		if got := read().Level.Fault; got != faults[fault.why] {
			t.Errorf("%v: it reads %v, want %v", fault.kind, got, fault.why)
		}
		y.SetFault(fault.kind, false)
	}
	y.ReplaceProbe(true)
	if got := read().Level.Fault; got != faults[kind.Shorted()] {
		t.Errorf("replaced for the test it reads %v, want %v", got, kind.Shorted())
	}
}
