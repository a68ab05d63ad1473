package sensors_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/config/exampletest"
	"bayward/agent/reading"
	"bayward/sensors"
	"bayward/sensors/level"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// tap is a simulated bus that is listened to, with a clock of its own: transfers at
// 100 kHz and the waits of the driver.
type tap struct {
	i2c.Bus
	bench  *sim.Bench
	now    time.Duration
	txs    int
	fails  func(tx int) bool
	slow   func(tx int) time.Duration // that a transfer takes longer
	drives []drive
}

// drive is what the expander's pins did from a time on.
type drive struct {
	at           time.Duration
	high, driven byte
}

var errWire = errors.New("sysfs-i2c: remote I/O error")

func (b *tap) Tx(addr uint16, w, r []byte) error {
	b.txs++
	b.now += time.Duration(len(w)+len(r)+2) * 90 * time.Microsecond
	if b.slow != nil {
		d := b.slow(b.txs)
		b.now += d
		_ = b.bench.Wait(context.Background(), d) // fails only with its context
	}
	if b.fails != nil && b.fails(b.txs) {
		return errWire
	}
	if addr == 0x20 && len(w) == 2 {
		d := drive{at: b.now}
		if len(b.drives) > 0 {
			d.high, d.driven = b.drives[len(b.drives)-1].high, b.drives[len(b.drives)-1].driven
		}
		switch w[0] {
		case 1:
			d.high = w[1]
		case 3:
			d.driven = ^w[1]
		}
		b.drives = append(b.drives, d)
	}
	return b.Bus.Tx(addr, w, r)
}

// open reports whether no pin is driven.
func (b *tap) open() bool { return len(b.drives) == 0 || b.drives[len(b.drives)-1].driven == 0 }

func (b *tap) wait(ctx context.Context, d time.Duration) error {
	b.now += d
	return b.bench.Wait(ctx, d)
}

// probed is a bay of two cells with nothing but a level probe of the example, behind a
// tap.
type probed struct {
	bench *sim.Bench
	truth *sim.Stand
	bus   *tap
	set   *sensors.Set
}

func newProbed(t testing.TB, kind level.Kind, levelMM float64) *probed {
	t.Helper()
	example, err := config.Parse("example", []byte(exampletest.WithLevel(t, string(kind))))
	if err != nil {
		t.Fatal(err)
	}
	parts := wiring.Parts{I2C: "1", Level: example.Bays[0].Wiring.Level, Relay: &wiring.Relay{Pin: "GPIO17"}}
	if kind == level.Potential {
		parts.Level.CellsBelow = 1
	}
	y := &probed{bench: sim.NewBench()}
	y.truth, err = y.bench.Add(sim.Opts{
		Name: "bay-1", Cells: 2, CapacityAh: 225, VentWellMM: 22, FreeSurfaceCM2: 130,
		StateOfCharge: 0.9, LevelMM: levelMM, AmbientC: 20, AmbientSwingC: 8, Connected: true, Seed: 1,
	}, parts)
	if err != nil {
		t.Fatal(err)
	}
	bus, err := y.bench.Bus("1")
	if err != nil {
		t.Fatal(err)
	}
	y.bus = &tap{Bus: bus, bench: y.bench}
	sets, err := sensors.Open(&config.Config{Bays: []config.Bay{{Name: "bay-1", Wiring: parts}}}, sensors.Hardware{
		Bus: func(string) (i2c.Bus, error) { return y.bus, nil }, Pin: y.bench.Input, OneWire: y.bench.OneWire(),
		Wait: y.bus.wait, Now: func() time.Duration { return y.bench.Now() + y.bus.now },
	})
	if err != nil {
		t.Fatal(err)
	}
	y.set = sets[0]
	y.bench.Advance(5 * time.Minute) // the acid is still
	return y
}

func (y *probed) read(ctx context.Context) reading.Level {
	var out bay.Readings
	y.set.Sources()[0].Sample(ctx, &out)
	return out.Level
}

var pulsedKinds = []level.Kind{level.SingleRod, level.Ladder, level.Potential}

// TestPulsesAreShortAndBalanced: what a reading does to its pins: never both directions
// in one go, each pulse short, both of them as long as each other, and open at the end.
func TestPulsesAreShortAndBalanced(t *testing.T) {
	for _, kind := range pulsedKinds {
		y := newProbed(t, kind, 9)
		for range 3 {
			y.read(t.Context())
		}
		y.bus.drives = nil
		from := y.bus.now
		if got := y.read(t.Context()); !got.Usable() {
			t.Fatalf("%s: %+v", kind, got)
		}
		took := y.bus.now - from
		var forward, reverse time.Duration
		for i, d := range y.bus.drives[:len(y.bus.drives)-1] {
			long := y.bus.drives[i+1].at - d.at
			switch {
			case d.driven == 0b11 && d.high == 0b01:
				forward += long
			case d.driven == 0b11 && d.high == 0b10:
				reverse += long
			case d.driven == 0b11 && d.high != 0:
				t.Errorf("%s: pins %+v", kind, d)
			}
		}
		t.Logf("figure: %s: one reading takes %v, forward %v, reverse %v", kind, took, forward, reverse)
		if !y.bus.open() || took > 40*time.Millisecond || forward > 10*time.Millisecond {
			t.Errorf("%s: took %v, a pulse %v, pins %+v at the end", kind, took, forward, y.bus.drives[len(y.bus.drives)-1])
		}
		if kind != level.Potential && (forward == 0 || math.Abs(float64(forward-reverse)) > 0.1*float64(forward)) {
			t.Errorf("%s: forward %v, reverse %v", kind, forward, reverse)
		}
	}
}

// TestPulsesEnd: whichever transfer fails, whenever the context ends, the reading has a
// fault and the pins are open afterwards, unless it is the very transfer that opens
// them: then the next reading opens them.
func TestPulsesEnd(t *testing.T) {
	for _, kind := range pulsedKinds {
		y := newProbed(t, kind, 9)
		y.read(t.Context())
		from := y.bus.txs
		y.read(t.Context())
		each := y.bus.txs - from
		opened := 0
		for n := 1; n <= each; n++ {
			start := y.bus.txs
			y.bus.fails = func(tx int) bool { return tx == start+n }
			got := y.read(t.Context())
			y.bus.fails = nil
			if got.Usable() || got.Fault == reading.None {
				t.Errorf("%s: transfer %d of %d fails, and it reads %+v", kind, n, each, got)
			}
			if y.bus.open() {
				opened++
			}
			if got := y.read(t.Context()); !got.Usable() || !y.bus.open() {
				t.Errorf("%s: after a failure of transfer %d it reads %+v, open %v", kind, n, got, y.bus.open())
			}
		}
		if opened < each-2 {
			t.Errorf("%s: of %d failures only %d left the pins open", kind, each, opened)
		}
		for n := range each {
			ctx, cancel := context.WithCancel(t.Context())
			start := y.bus.txs
			y.bus.slow = func(tx int) time.Duration {
				if tx == start+n {
					cancel()
				}
				return 0
			}
			y.read(ctx)
			y.bus.slow = nil
			cancel()
			if !y.bus.open() {
				t.Errorf("%s: ended at transfer %d: a pin is still driven", kind, n)
			}
		}
	}
}

// TestLatePulses: a pulse that a busy Pi has stretched is thrown away and given again,
// from a capacitor without the charge that the late one left; if all are late, that is
// the fault. No stretch makes a level that isn't there.
func TestLatePulses(t *testing.T) {
	for _, kind := range pulsedKinds {
		y := newProbed(t, kind, 9)
		right := y.read(t.Context())
		for _, stretch := range []time.Duration{25 * time.Millisecond, 50 * time.Millisecond, 400 * time.Millisecond, 10 * time.Second} {
			for _, transfer := range []int{4, 8, 14, 20, 26} {
				start := y.bus.txs
				y.bus.slow = func(tx int) time.Duration {
					if tx == start+transfer {
						return stretch
					}
					return 0
				}
				got := y.read(t.Context())
				if !got.Usable() || got.LowMM != right.LowMM || got.HighMM != right.HighMM || !y.bus.open() {
					t.Errorf("%s: transfer %d takes %v longer: %+v, want that of %+v", kind, transfer, stretch, got, right)
				}
			}
		}
		y.bus.slow = func(int) time.Duration { return 10 * time.Millisecond }
		if got := y.read(t.Context()); got.Fault != reading.Timeout || !y.bus.open() {
			t.Errorf("%s: all pulses late: %+v, open %v", kind, got, y.bus.open())
		}
	}
}

// TestDeadInAPulse: a program that dies in a pulse leaves the pins driven for a day. The
// capacitor has stopped the current long before; the rods are read right afterwards.
func TestDeadInAPulse(t *testing.T) {
	y := newProbed(t, level.SingleRod, 9)
	bus, err := y.bench.Bus("1")
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(bus.Tx(0x20, []byte{1, 0b01}, nil), bus.Tx(0x20, []byte{3, 0xfc}, nil)); err != nil {
		t.Fatal(err)
	}
	y.bench.Advance(24 * time.Hour)
	wrong := 0
	for range 60 {
		y.bench.Advance(time.Second)
		if got := y.read(t.Context()); got.Usable() && got.LowMM != 3 {
			t.Fatalf("a wet rod reads %+v", got)
		} else if !got.Usable() {
			wrong++
		}
	}
	t.Logf("figure: after a day of a stuck pulse, %d readings of 60 without a level", wrong)
	if wrong > 0 { // the first reading of a program discharges the capacitor
		t.Errorf("%d of 60 readings have no level", wrong)
	}
}

// TestYearOfProbes: for a year, the level rises and falls past the rods by turns, in
// days of 12 to 28 °C, and each probe is read by its pulses. What it shows contains the
// level, but for the climb of the acid on a rod, and it is never without one for long.
// Without BAYWARD_PROBE_YEAR, the readings an hour, it is sixty days.
func TestYearOfProbes(t *testing.T) {
	every, burst, days := time.Hour, 2, 60
	if n, err := strconv.Atoi(os.Getenv("BAYWARD_PROBE_YEAR")); err == nil {
		burst, days = min(max(n, 1), 3600), 365
	}
	for _, kind := range pulsedKinds {
		y := newProbed(t, kind, 9)
		readings, blind, wrong, away := 0, 0, 0, false
		for hour := range days * 24 {
			y.bench.Advance(every - time.Duration(burst)*time.Second)
			if hour%36 == 0 { // 13 ml are a millimetre
				move := y.truth.AddWater
				if !away {
					move = y.truth.Leak
				}
				if err := move(y.truth.PilotCell(), 150); err != nil {
					t.Fatal(err)
				}
				away = !away
				y.read(t.Context())
				y.bench.Advance(5 * time.Minute)
			}
			mm := y.truth.Truth().Cells[y.truth.PilotCell()-1].LevelMM
			for range burst {
				y.bench.Advance(time.Second)
				readings++
				switch got := y.read(t.Context()); {
				case !got.Usable():
					blind++
				case got.LowMM > mm+2 || got.HighMM < mm-2:
					wrong++
				}
			}
		}
		t.Logf("figure: %s: %d readings in %d days, %d without a level, %d wrong", kind, readings, days, blind, wrong)
		if wrong > 0 || blind > readings/100 {
			t.Error(fmt.Sprint(kind, ": not read right for a year"))
		}
	}
}

// TestFilmAndCrust: a rod that has come out of the acid is filmed for a minute and then
// dry. Crust reads the same at first, and is named once no film would last so long; a
// failed reading in between begins the time again.
func TestFilmAndCrust(t *testing.T) {
	y := newProbed(t, level.SingleRod, 9)
	seen := func(within time.Duration) (faults []reading.Fault) {
		for range within / time.Second {
			y.bench.Advance(time.Second)
			if got := y.read(t.Context()).Fault; len(faults) == 0 || faults[len(faults)-1] != got {
				faults = append(faults, got)
			}
		}
		return faults
	}
	y.truth.LiftProbe(true)
	if got := seen(2 * time.Minute); !slices.Equal(got, []reading.Fault{reading.None, reading.Film, reading.None}) {
		t.Errorf("lifted out of the acid: %v", got)
	}
	y.truth.LiftProbe(false)
	y.truth.SetFault(sim.ProbeCrust, true)
	if got := seen(4 * time.Minute); !slices.Equal(got, []reading.Fault{reading.Film}) {
		t.Errorf("crusted: %v", got)
	}
	y.truth.SetFault(sim.ExpanderAbsent, true)
	seen(time.Second)
	y.truth.SetFault(sim.ExpanderAbsent, false)
	if got := seen(6 * time.Minute); !slices.Equal(got, []reading.Fault{reading.Film, reading.Crust}) {
		t.Errorf("crusted: %v", got)
	}
	y.truth.SetFault(sim.ProbeCrust, false)
	if got := seen(time.Minute); !slices.Equal(got, []reading.Fault{reading.None}) {
		t.Errorf("wiped: %v", got)
	}
}

// TestBridged: a splinter of metal has the resistance of a wet rod and none of its back
// voltage. It is no level, whether the rods are dry or wet, and the kinds of rods tell
// it by its own name where the acid is below them.
func TestBridged(t *testing.T) {
	for _, kind := range []level.Kind{level.SingleRod, level.Ladder} {
		for _, mm := range []float64{-12, 9} {
			y := newProbed(t, kind, mm)
			y.truth.SetFault(sim.ProbeBridged, true)
			for range 20 {
				y.bench.Advance(time.Second)
				if got := y.read(t.Context()); got.Usable() || mm < 0 && got.Fault != reading.Bridged {
					t.Fatalf("%s at %g mm: %+v", kind, mm, got)
				}
			}
		}
	}
}
