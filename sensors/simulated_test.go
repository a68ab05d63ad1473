package sensors_test

import (
	"math"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/config/exampletest"
	"bayward/agent/reading"
	"bayward/sensors"
	"bayward/sensors/level"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// yard is one simulated bay behind the real drivers.
type yard struct {
	bench *sim.Bench
	truth *sim.Stand
	bay   *sensors.Set
	relay gpio.PinIO
}

// newYard wires one bay. The level probe is the example's for its kind.
func newYard(t *testing.T, kind level.Kind, levelMM float64) *yard {
	t.Helper()
	in := func(n int) wiring.Input { return wiring.Input{ADC: 0x48, Channel: n, RangeV: 4.096, Rate: 128} }
	example, err := config.Parse("example", []byte(exampletest.WithLevel(t, string(kind))))
	if err != nil {
		t.Fatal(err)
	}
	parts := wiring.Parts{
		I2C: "1", Voltage: &wiring.Voltage{Input: in(0), Ratio: 11},
		Current:     &wiring.Current{Input: in(1), Kind: "hall", AmperesPerVolt: 80, ZeroV: 1.65},
		Level:       example.Bays[0].Wiring.Level,
		Hydrogen:    &wiring.Analog{Input: in(3), ZeroV: 0.5, PerVolt: 2},
		Temperature: &wiring.Temperature{Pack: "28-000000000001", Ambient: "28-000000000002"},
		Relay:       &wiring.Relay{Pin: "GPIO17", Feedback: &wiring.Contact{Pin: "GPIO5", ActiveLow: true}},
	}
	y := &yard{bench: sim.NewBench()}
	y.truth, err = y.bench.Add(sim.Opts{
		Name: "bay-1", Cells: 12, CapacityAh: 225, VentWellMM: 22, FreeSurfaceCM2: 130,
		StateOfCharge: 0.5, LevelMM: levelMM, AmbientC: 20, Connected: true, Seed: 1,
	}, parts)
	if err != nil {
		t.Fatal(err)
	}
	bays, err := sensors.Open(&config.Config{Bays: []config.Bay{{Name: "bay-1", Wiring: parts}}},
		sensors.Hardware{Bus: y.bench.Bus, SPI: y.bench.SPI, Pin: y.bench.Input, OneWire: y.bench.OneWire(), Wait: y.bench.Wait, Now: y.bench.Now})
	if err != nil {
		t.Fatal(err)
	}
	if y.relay, err = y.bench.Pin(parts.Relay.Pin); err != nil {
		t.Fatal(err)
	}
	y.bay = bays[0]
	y.bench.Advance(10 * time.Second)
	return y
}

func (y *yard) sample(t *testing.T) bay.Readings {
	t.Helper()
	var out bay.Readings
	for _, s := range y.bay.Sources() {
		s.Sample(t.Context(), &out)
	}
	return out
}

// TestSimulatedTruth: the drivers read the true state, with the relay open and
// closed.
func TestSimulatedTruth(t *testing.T) {
	for _, kind := range level.Kinds() {
		for _, levelMM := range []float64{-12, 1, 9, 18} {
			y := newYard(t, kind, levelMM)
			for _, closed := range []bool{false, true} {
				if err := y.relay.Out(gpio.Level(closed)); err != nil {
					t.Fatal(err)
				}
				y.bench.Advance(30 * time.Second)
				got, so := y.sample(t), y.truth.Truth()
				near(t, "pack voltage", got.PackV, so.PackV, 0.05)
				near(t, "current", got.CurrentA, so.CurrentA, 0.1)
				near(t, "pack temperature", got.PackC, so.PackC, 0.1)
				near(t, "ambient", got.AmbientC, so.AmbientC, 0.1)
				near(t, "hydrogen", got.HydrogenPct, so.HydrogenPct, 0.01)
				mm := so.Cells[y.truth.PilotCell()-1].LevelMM
				if c := got.Level; !c.Usable() || c.LowMM-0.1 > mm || c.HighMM+0.1 < mm || kind.Measures() != (c.LowMM == c.HighMM) {
					t.Errorf("%s at %g mm: got %+v", kind, mm, c)
				}
				if !got.ContactorClosed.OK() || (got.ContactorClosed.Value == 1) != so.ContactorClosed || so.ContactorClosed != closed {
					t.Errorf("relay %v: feedback %+v, contactor %v", closed, got.ContactorClosed, so.ContactorClosed)
				}
			}
		}
	}
}

func near(t *testing.T, what string, got reading.Reading, want, tolerance float64) {
	t.Helper()
	if !got.OK() || math.Abs(got.Value-want) > tolerance {
		t.Errorf("%s: got %+v, want %g", what, got, want)
	}
}

// TestSimulatedFaults: each broken part has its own fault, and is read again once it
// is repaired.
func TestSimulatedFaults(t *testing.T) {
	probe := func(r *bay.Readings) reading.Fault { return r.Level.Fault }
	volts := func(r *bay.Readings) reading.Fault { return r.PackV.Fault }
	warm := func(r *bay.Readings) reading.Fault { return r.PackC.Fault }
	for _, tc := range []struct {
		kind  level.Kind
		fault sim.FaultKind
		of    func(*bay.Readings) reading.Fault
		want  reading.Fault
	}{
		{"4-20ma", sim.ProbeOpen, probe, reading.Open},
		{"4-20ma", sim.ProbeShort, probe, reading.OverRange},
		{"rod", sim.ProbeOpen, probe, reading.Open},
		{"rod", sim.ProbeShort, probe, reading.Short},
		{"ladder", sim.ProbeOpen, probe, reading.Open},
		{"ladder", sim.ProbeShort, probe, reading.Short},
		{"potential", sim.ProbeOpen, probe, reading.Open},
		{"potential", sim.ProbeShort, probe, reading.Short},
		{"potential", sim.ExpanderAbsent, probe, reading.NoAnswer},
		{"rod", sim.ProbeFormed, probe, reading.TwoMetals},
		{"rod", sim.ExpanderAbsent, probe, reading.NoAnswer},
		{"rod", sim.ProbeCrust, probe, reading.Film},
		{"ladder", sim.ProbeCrust, probe, reading.Contradictory},
		{"rod", sim.ADCAbsent, volts, reading.NoAnswer},
		{"rod", sim.ADCAbsent, probe, reading.NoAnswer},
		{"rod", sim.BusStuck, probe, reading.BusStuck},
		{"rod", sim.ConversionStuck, probe, reading.Timeout},
		{"rod", sim.ConfigReset, probe, reading.Contradictory},
		{"rod", sim.TemperatureCRC, warm, reading.BadCRC},
		{"rod", sim.TemperaturePowerOn, warm, reading.PowerOn},
		{"rod", sim.TemperatureUnplugged, warm, reading.NoAnswer},
	} {
		y := newYard(t, tc.kind, 9)
		y.truth.SetFault(tc.fault, true)
		y.bench.Advance(2 * time.Minute)
		if got := y.sample(t); tc.of(&got) != tc.want {
			t.Errorf("%s, %s: got %s, want %s", tc.kind, tc.fault, tc.of(&got), tc.want)
		}
		y.truth.SetFault(tc.fault, false)
		y.bench.Advance(2 * time.Minute)
		if got := y.sample(t); tc.of(&got) != reading.None {
			t.Errorf("%s, %s repaired: got %s", tc.kind, tc.fault, tc.of(&got))
		}
	}
}

// TestSimulatedSilentWire: on a kernel that shows an empty file, a damaged answer
// and a missing sensor are both no answer, and never 0 °C or the last good value.
func TestSimulatedSilentWire(t *testing.T) {
	for _, kind := range []sim.FaultKind{sim.TemperatureCRC, sim.TemperatureUnplugged} {
		y := newYard(t, "rod", 9)
		y.bench.SilentWire(func(d time.Duration) { y.bench.Advance(d) })
		if got := y.sample(t); !got.PackC.OK() {
			t.Fatalf("whole: %+v", got.PackC)
		}
		y.truth.SetFault(kind, true)
		y.bench.Advance(10 * time.Second)
		got := y.sample(t)
		if got.PackC.Fault != reading.NoAnswer || !got.AmbientC.OK() {
			t.Errorf("%s: pack %+v, air %+v", kind, got.PackC, got.AmbientC)
		}
		y.truth.SetFault(kind, false)
		y.bench.Advance(10 * time.Second)
		if got := y.sample(t); !got.PackC.OK() {
			t.Errorf("%s repaired: %+v", kind, got.PackC)
		}
	}
}
