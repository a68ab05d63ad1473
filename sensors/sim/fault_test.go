package sim

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"sync"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"bayward/sensors/wiring"
)

// look returns everything that a program can see of the common bay, as text.
func look(t testing.TB, b *Bench) string {
	t.Helper()
	var seen strings.Builder
	u := mustBus(t, b)
	for range 12 {
		probeV, referenceV, err := pulse(b, u)
		fmt.Fprintf(&seen, "probe %.2f %.2f %v\n", probeV, referenceV, err)
		for _, input := range [][2]uint16{{0x48, 4}, {0x48, 3}, {0x49, 4}} {
			v, err := convert(b, u, input[0], input[1])
			fmt.Fprintf(&seen, "%x/%d %.2f %v\n", input[0], input[1], v, err)
		}
	}
	for _, id := range []string{"28-0000000000a1", "28-0000000000b2"} {
		text, err := fs.ReadFile(b.OneWire(), id+"/w1_slave")
		fmt.Fprintf(&seen, "%s %s %v\n", id, text, err)
	}
	for _, name := range []string{"GPIO27", "GPIO22", "GPIO23"} {
		p := mustPin(t, b, name)
		if err := p.In(gpio.PullUp, gpio.NoEdge); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&seen, "%s %v\n", name, p.Read())
	}
	if p, err := b.SPI("0.0"); err == nil {
		c, err := p.Connect(physic.MegaHertz, spi.Mode1, 8)
		if err != nil {
			t.Fatal(err)
		}
		r := make([]byte, 9)
		for _, w := range [][]byte{{0x80, 0xa1}, make([]byte, 9)} {
			if err := c.Tx(w, r[:len(w)]); err != nil {
				t.Fatal(err)
			}
			if err := b.Wait(t.Context(), 70*time.Millisecond); err != nil {
				t.Fatal(err)
			}
		}
		fmt.Fprintf(&seen, "resistance % x\n", r[:4])
	}
	for _, at := range []uint16{0, 2} {
		m, err := b.Modbus(&wiring.Line{Name: "meters"})
		if err != nil {
			fmt.Fprintf(&seen, "line %v\n", err)
			continue
		}
		words, err := m.Read(1, "holding", at, 2)
		fmt.Fprintf(&seen, "register %d %04x %v\n", at, words, err)
	}
	return seen.String()
}

// pulse gives the common bay's probe a pulse, as data sheets say that its expander and
// converter are told to, and returns the voltages of the probe and of its reference.
func pulse(b *Bench, u i2c.Bus) (probeV, referenceV float64, err error) {
	for _, w := range [][]byte{{1, 0b01}, {3, 0b11111100}} {
		if err := u.Tx(0x20, w, nil); err != nil {
			return 0, 0, err
		}
	}
	if err := b.Wait(context.Background(), time.Millisecond); err != nil {
		return 0, 0, err
	}
	probeV, err = convert(b, u, 0x4a, 0)
	referenceV, err2 := convert(b, u, 0x4a, 2)
	return probeV, referenceV, errors.Join(err, err2, u.Tx(0x20, []byte{3, 0xff}, nil))
}

// life returns a bay after some hours: charged until its charger stopped, rested,
// worked, and put on charge again.
func life(t testing.TB, f FaultKind, on bool) string {
	t.Helper()
	b := NewBench()
	o, w := common("bay-1")
	o.StateOfCharge = 0.97
	// A Hall sensor, whose missing lead looks different from no current.
	w.Current = &wiring.Current{Input: input(0x48, 3), AmperesPerVolt: 100, ZeroV: 2.5}
	if f == WatchdogStuck { // no heartbeat comes
		relay := *w.Relay
		relay.Heartbeat = "GPIO18"
		w.Relay = &relay
	}
	w.Registers = []wiring.Register{{
		Reading: "pack-voltage", Line: "meters", Unit: 1, Table: "holding", Address: 0, Type: "float32", Scale: 1, FaultValues: []float64{-1},
		Counter: &wiring.RegisterCounter{Address: 2}, Status: &wiring.RegisterStatus{Address: 3},
	}}
	if f == TemperatureShorted {
		w.Temperature = &wiring.Temperature{RTD: []wiring.RTD{{Of: "pack", SPI: "0.0", ReferenceOhm: 430}}}
	}
	y := mustAdd(t, b, o, w)
	drive(t, mustPin(t, b, "GPIO17"), gpio.High)
	if f == CompleteBroken {
		b.Advance(8 * time.Hour)
	}
	if f == ContactorWelded || f == FeedbackShorted || f == RelayStuck {
		drive(t, mustPin(t, b, "GPIO17"), gpio.Low)
	}
	b.Advance(time.Minute)
	y.SetFault(f, on)
	b.Advance(30 * time.Minute)
	return look(t, b)
}

// TestEveryFaultShows: each fault changes something that a program can see, and
// leaves no trace once it is repaired.
func TestEveryFaultShows(t *testing.T) {
	for _, f := range FaultKinds() {
		if f == ProbeStuck {
			continue // below: it shows only when the level moves
		}
		if life(t, f, true) == life(t, f, false) {
			t.Errorf("%v cannot be seen", f)
		}
	}
}

func TestStuckProbe(t *testing.T) {
	b := NewBench()
	o, w := common("bay-1")
	o.LevelMM = -2
	y := mustAdd(t, b, o, w)
	level := func() float64 {
		probeV, referenceV, err := pulse(b, mustBus(t, b))
		if err != nil {
			t.Fatal(err)
		}
		return probeV / referenceV
	}
	dry := level()
	y.SetFault(ProbeStuck, true)
	if err := y.AddWater(1, 60); err != nil {
		t.Fatal(err)
	}
	near(t, "stuck", level(), dry, 0.1)
	y.SetFault(ProbeStuck, false)
	if wet := level(); wet > dry-0.3 {
		t.Errorf("wet %.3f, dry %.3f of the reference", wet, dry)
	}
}

// TestSameBytes: the same seed and calls give the same bytes; another seed does
// not.
func TestSameBytes(t *testing.T) {
	bytes := func(seed uint64) string {
		b := NewBench()
		o, w := common("bay-1")
		o.Seed = seed
		y := mustAdd(t, b, o, w)
		drive(t, mustPin(t, b, "GPIO17"), gpio.High)
		var seen strings.Builder
		u := mustBus(t, b)
		for range 50 {
			b.Advance(30 * time.Second)
			v, err := convert(b, u, 0x48, 4)
			fmt.Fprintf(&seen, "%v %v\n", v, err)
		}
		fmt.Fprintf(&seen, "%+v", y.Truth())
		return seen.String()
	}
	first := bytes(5)
	if again := bytes(5); first != again {
		t.Error("same seed, different bytes")
	}
	if first == bytes(6) {
		t.Error("different seed, same bytes")
	}
}

// TestConcurrentUse: readers and the goroutine that moves time do not conflict; run
// with -race.
func TestConcurrentUse(t *testing.T) {
	b, y := fitted(t)
	u := mustBus(t, b)
	relay := mustPin(t, b, "GPIO17")
	var sides sync.WaitGroup
	for _, side := range []func(int){
		func(int) { _, _ = convert(b, u, 0x48, 4) },
		func(int) { _, _ = fs.ReadFile(b.OneWire(), "28-0000000000a1/w1_slave") },
		func(i int) { drive(t, relay, gpio.Level(i%2 == 0)) },
		func(i int) { y.SetFault(Noise, i%2 == 0); _ = y.Truth() },
		func(int) { b.Advance(time.Second) },
	} {
		sides.Go(func() {
			for i := range 200 {
				side(i)
			}
		})
	}
	sides.Wait()
	if b.Now() != 200*time.Second {
		t.Errorf("now %v", b.Now())
	}
}

// BenchmarkTick simulates one second of one charging bay with the transactions of its
// three analogue readings.
func BenchmarkTick(b *testing.B) {
	bench, _ := fitted(b)
	u := mustBus(b, bench)
	drive(b, mustPin(b, bench, "GPIO17"), gpio.High)
	b.ReportAllocs()
	for b.Loop() {
		bench.Advance(time.Second)
		for _, mux := range []uint16{4, 3} {
			if _, err := convert(bench, u, 0x48, mux); err != nil {
				b.Fatal(err)
			}
		}
		if _, _, err := pulse(bench, u); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkRest simulates an hour of a bay at rest.
func BenchmarkRest(b *testing.B) {
	bench, _ := fitted(b)
	for b.Loop() {
		bench.Advance(time.Hour)
	}
}

// TestBrokenWires: what SetInput and SetWires change shows at the input and at the
// line, and is gone after the repair.
func TestBrokenWires(t *testing.T) {
	b, y := fitted(t)
	volts := func() float64 {
		v, err := convert(b, mustBus(t, b), 0x48, 4)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	sound := volts()
	y.SetInput("voltage", func(v float64) float64 { return v / 2 })
	near(t, "halved", volts(), sound/2, 0.002)
	y.SetInput("voltage", nil)
	near(t, "repaired", volts(), sound, 0.002)

	p := mustPin(t, b, "GPIO22") // to ground while the fan moves air
	if err := p.In(gpio.PullUp, gpio.NoEdge); err != nil {
		t.Fatal(err)
	}
	for _, fan := range []bool{true, false} {
		y.SetAirflow(fan)
		for w, want := range map[Wires]gpio.Level{WiresSound: gpio.Level(!fan), WiresBroken: gpio.High, WiresTouch: gpio.Low} {
			y.SetWires("airflow", w)
			if got := p.Read(); got != want {
				t.Errorf("fan %v, wires %v: %v", fan, w, got)
			}
		}
	}
}
