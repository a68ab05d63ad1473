package sim

import (
	"fmt"
	"io/fs"
	"strings"
	"sync"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"

	"bayward/sensors/wiring"
)

// look returns everything that a program can see of the common bay, as text.
func look(t testing.TB, b *Bench) string {
	t.Helper()
	var seen strings.Builder
	u := mustBus(t, b)
	for range 12 {
		for _, input := range [][2]uint16{{0x48, 4}, {0x48, 5}, {0x48, 3}, {0x49, 4}} {
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
	return seen.String()
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
	y := mustAdd(t, b, o, w)
	drive(t, mustPin(t, b, "GPIO17"), gpio.High)
	if f == CompleteBroken {
		b.Advance(8 * time.Hour)
	}
	if f == ContactorWelded || f == FeedbackShorted {
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
		v, err := convert(b, mustBus(t, b), 0x48, 5)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	dry := level()
	y.SetFault(ProbeStuck, true)
	if err := y.AddWater(1, 100); err != nil {
		t.Fatal(err)
	}
	near(t, "stuck", level(), dry, 0.002)
	y.SetFault(ProbeStuck, false)
	if wet := level(); wet > dry-0.3 {
		t.Errorf("wet %.3f V, dry %.3f V", wet, dry)
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
		for _, mux := range []uint16{4, 5, 3} {
			if _, err := convert(bench, u, 0x48, mux); err != nil {
				b.Fatal(err)
			}
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
