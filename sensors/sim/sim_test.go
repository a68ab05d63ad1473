package sim

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"

	"bayward/sensors/level"
	"bayward/sensors/sim/electrode"
	"bayward/sensors/wiring"
)

func input(adc wiring.Address, channel int) wiring.Input {
	return wiring.Input{ADC: adc, Channel: channel}
}

// common returns a bay with everything fitted.
func common(name string) (Opts, wiring.Parts) {
	minus := 3
	o := Opts{
		Name: name, Cells: 12, CapacityAh: 225, VentWellMM: 22, FreeSurfaceCM2: 130, StateOfCharge: 0.5,
		LevelMM: 8, AmbientC: 24, Connected: true, Seed: 3,
	}
	w := wiring.Parts{
		I2C:     "1",
		Voltage: &wiring.Voltage{Input: input(0x48, 0), Ratio: 11},
		Current: &wiring.Current{Input: input(0x48, 2), Minus: &minus, AmperesPerVolt: 1000},
		Level: &wiring.Level{
			Input: input(0x4a, 0), Kind: level.Ladder, Expander: 0x20, Settings: level.Settings{
				ReferenceOhm: 10000, EndOhm: 22000,
				Rods: []level.Rod{{HeightMM: 0, SeriesOhm: 4700}, {HeightMM: 3, SeriesOhm: 10000}},
			},
		},
		Hydrogen:    &wiring.Analog{Input: input(0x49, 0), ZeroV: 0.4, PerVolt: 2},
		Temperature: &wiring.Temperature{Pack: "28-0000000000a1", Ambient: "28-0000000000b2"},
		Relay:       &wiring.Relay{Pin: "GPIO17", Feedback: &wiring.Contact{Pin: "GPIO27", ActiveLow: true}},
		Airflow:     &wiring.Contact{Pin: "GPIO22", ActiveLow: true}, Complete: &wiring.Contact{Pin: "GPIO23"},
	}
	return o, w
}

func mustAdd(t testing.TB, b *Bench, o Opts, w wiring.Parts) *Stand {
	t.Helper()
	y, err := b.Add(o, w)
	if err != nil {
		t.Fatal(err)
	}
	return y
}

// fitted returns a bench with one common bay.
func fitted(t testing.TB) (*Bench, *Stand) {
	t.Helper()
	b := NewBench()
	o, w := common("bay-1")
	return b, mustAdd(t, b, o, w)
}

func mustPin(t testing.TB, b *Bench, name string) gpio.PinIO {
	t.Helper()
	p, err := b.Pin(name)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func mustBus(t testing.TB, b *Bench) i2c.Bus {
	t.Helper()
	u, err := b.Bus("1")
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// convert runs one single-shot conversion at 860 samples a second and ±6.144 V
// with the multiplexer setting, as in the data sheet's quick start.
func convert(b *Bench, u i2c.Bus, addr uint16, mux uint16) (float64, error) {
	config := uint16(0x8000|0x0100|0x00e3) | mux<<12
	if err := u.Tx(addr, []byte{1, byte(config >> 8), byte(config)}, nil); err != nil {
		return 0, err
	}
	if err := b.Wait(context.Background(), 2*time.Millisecond); err != nil {
		return 0, err
	}
	var r [2]byte
	for tries := 0; r[0]&0x80 == 0; tries++ {
		if tries > 100 {
			return 0, errors.New("conversion does not end")
		}
		if err := u.Tx(addr, []byte{1}, r[:]); err != nil {
			return 0, err
		}
	}
	if got := uint16(r[0])<<8 | uint16(r[1]); got != config {
		return 0, fmt.Errorf("config reads back 0x%04x, not 0x%04x", got, config)
	}
	if err := u.Tx(addr, []byte{0}, r[:]); err != nil {
		return 0, err
	}
	return float64(int16(uint16(r[0])<<8|uint16(r[1]))) * 6.144 / 32768, nil
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.5f, want %.5f ± %.5f", what, got, want, tolerance)
	}
}

// TestSignals: each input gets the signal that its circuit makes from the true
// state: dividers and loops by Ohm's law, the transmitter by NAMUR NE 43.
func TestSignals(t *testing.T) {
	b, y := fitted(t)
	u := mustBus(t, b)
	if err := mustPin(t, b, "GPIO17").Out(gpio.High); err != nil {
		t.Fatal(err)
	}
	b.Advance(10 * time.Minute)
	truth := y.Truth()
	for _, row := range []struct {
		what            string
		addr, mux       uint16
		want, tolerance float64
	}{
		{"pack voltage", 0x48, 4, truth.PackV / 11, 0.001},
		{"shunt", 0x48, 3, truth.CurrentA / 1000, 0.001},
		{"hydrogen", 0x49, 4, truth.HydrogenPct/2 + 0.4, 0.001},
	} {
		got, err := convert(b, u, row.addr, row.mux)
		if err != nil {
			t.Fatalf("%s: %v", row.what, err)
		}
		near(t, row.what, got, row.want, row.tolerance)
	}
	if truth.CurrentA < 40 {
		t.Errorf("current %.1f A: nothing was measured", truth.CurrentA)
	}
}

func TestTransmitter(t *testing.T) {
	tx := transmitter{&level.Settings{ShuntOhm: 100, LowMM: -10, HighMM: 30}}
	for _, row := range []struct {
		what        string
		mm          float64
		open, short bool
		want        float64
	}{
		{"4 mA", -10, false, false, 0.4},
		{"12 mA", 10, false, false, 1.2},
		{"saturated low", -50, false, false, 0.38}, // NE 43
		{"saturated high", 90, false, false, 2.05}, // NE 43
		{"broken loop", 10, true, false, 0},        // NE 43: 3.6 mA or less
		{"shorted sensor", 10, false, true, 24},    // the whole supply
	} {
		near(t, row.what, tx.volts(levelProbe, plight{scene: electrode.Scene{LevelMM: row.mm}, open: row.open, short: row.short}), row.want, 1e-9)
	}
}

// TestPulses: a rod loop of exact parts answers pulses by Ohm's law: 3.3 V over 10 kΩ,
// the probe and 10 kΩ (two pins of 60 Ω), less what the capacitor has charged. With a pin
// open no current flows, and the electrodes keep what the pulse has left.
func TestPulses(t *testing.T) {
	newLoop := func() *rodLoop {
		return &rodLoop{
			endOhm: 40000, referenceOhm: 10000, offsetMM: 1, probe: electrode.NewProbe(40000, electrode.Rod{HeightMM: 5, SeriesOhm: 10000}),
			src: electrode.Source{Ohm: math.Inf(1), Farad: couplingF},
		}
	}
	for _, row := range []struct {
		what string
		p    plight
		ohm  float64
	}{
		{"dry", plight{scene: electrode.Scene{LevelMM: 4.4, AcidC: 25}}, 40000},
		{"wet, above height, offset and climb", plight{scene: electrode.Scene{LevelMM: 4.6, AcidC: 25}}, 8000},
		{"broken", plight{scene: electrode.Scene{LevelMM: 20, AcidC: 25}, open: true}, math.Inf(1)},
		{"shorted", plight{scene: electrode.Scene{LevelMM: 20, AcidC: 25}, short: true}, 0},
		{"crusted", plight{scene: electrode.Scene{LevelMM: 20, AcidC: 25, CrustOhm: 30000}}, 20000},
	} {
		l := newLoop()
		at := time.Second
		for _, sign := range []float64{1, -1} {
			high := byte(0b01)
			if sign < 0 {
				high = 0b10
			}
			row.p.at = at
			l.drive(high, 0b11, row.p)
			row.p.at += time.Millisecond // ten time constants of the filter
			plus, minus, drive := l.volts(levelProbe, row.p), l.volts(levelReturn, row.p), l.volts(levelDrive, row.p)
			amps := sign * 3.3 / (20120 + row.ohm)
			probeV, tolerance := amps*row.ohm, 0.12
			if math.IsInf(row.ohm, 1) {
				amps, probeV, tolerance = 0, sign*3.3, 1e-3
			}
			near(t, row.what+": reference", minus-drive, amps*10000, tolerance)
			near(t, row.what+": probe", plus-minus, probeV, tolerance)
			l.drive(high, 0b10, row.p)
			row.p.at += time.Millisecond
			near(t, row.what+": at rest", l.volts(levelReturn, row.p)-l.volts(levelDrive, row.p), 0, 1e-3)
			at = row.p.at + time.Millisecond
		}
	}
}

func TestRefusals(t *testing.T) {
	one := 1
	for name, breakIt := range map[string]func(*Opts, *wiring.Parts){
		"name taken":    func(o *Opts, _ *wiring.Parts) { o.Name = "bay-1" },
		"channel taken": func(_ *Opts, _ *wiring.Parts) {},
		"line taken":    func(_ *Opts, w *wiring.Parts) { *w = wiring.Parts{Relay: &wiring.Relay{Pin: "GPIO17"}} },
		"sensor taken": func(_ *Opts, w *wiring.Parts) {
			*w = wiring.Parts{Temperature: &wiring.Temperature{Pack: "28-0000000000a1"}}
		},
		"address": func(_ *Opts, w *wiring.Parts) {
			*w = wiring.Parts{Voltage: &wiring.Voltage{Input: input(0x50, 0), Ratio: 11}}
		},
		"channel": func(_ *Opts, w *wiring.Parts) {
			*w = wiring.Parts{Voltage: &wiring.Voltage{Input: input(0x4a, 4), Ratio: 11}}
		},
		"ratio": func(_ *Opts, w *wiring.Parts) { *w = wiring.Parts{Voltage: &wiring.Voltage{Input: input(0x4a, 0)}} },
		"pair": func(_ *Opts, w *wiring.Parts) {
			*w = wiring.Parts{Current: &wiring.Current{Input: input(0x4a, 2), Minus: &one, AmperesPerVolt: 1}}
		},
		"empty name": func(o *Opts, w *wiring.Parts) { o.Name, *w = "", wiring.Parts{} },
		"charge":     func(o *Opts, w *wiring.Parts) { o.StateOfCharge, *w = 2, wiring.Parts{} },
		"rods": func(_ *Opts, w *wiring.Parts) {
			*w = wiring.Parts{Level: &wiring.Level{Input: input(0x4a, 0), Kind: level.SingleRod, Settings: level.Settings{ReferenceOhm: 1, EndOhm: 1}}}
		},
		"kind of probe": func(_ *Opts, w *wiring.Parts) {
			*w = wiring.Parts{Level: &wiring.Level{Input: input(0x4a, 0), Kind: "float"}}
		},
		"name of sensor": func(_ *Opts, w *wiring.Parts) { *w = wiring.Parts{Temperature: &wiring.Temperature{Pack: "../etc"}} },
	} {
		b, _ := fitted(t)
		o, w := common("bay-2")
		breakIt(&o, &w)
		if _, err := b.Add(o, w); err == nil {
			t.Errorf("%s: accepted", name)
		} else {
			t.Logf("%s: %v", name, err)
		}
	}
	b, _ := fitted(t)
	plain := mustBus(t, b)
	for _, other := range []string{"I2C1", "/dev/i2c-1"} {
		if same, err := b.Bus(other); err != nil || same != plain {
			t.Errorf("bus %s: %v, %v", other, same, err)
		}
	}
	if _, err := b.Bus("9"); !errors.Is(err, ErrNoBus) {
		t.Errorf("bus 9: %v", err)
	}
	if _, err := b.Pin("GPIO9"); !errors.Is(err, ErrNoPin) {
		t.Errorf("GPIO9: %v", err)
	}
}

// TestWholeCycle: charge until the charger stops, cool, unplug.
func TestWholeCycle(t *testing.T) {
	b := NewBench()
	o, w := common("bay-1")
	o.StateOfCharge, o.PackC = 0.35, 29
	y := mustAdd(t, b, o, w)
	relay, complete := mustPin(t, b, "GPIO17"), mustPin(t, b, "GPIO23")
	if err := relay.Out(gpio.High); err != nil {
		t.Fatal(err)
	}
	for range 10 * 3600 {
		b.Advance(time.Second)
		if complete.Read() == gpio.High {
			break
		}
	}
	full := y.Truth()
	if !full.Complete || full.StateOfCharge < 0.97 || full.PackC < 40 || full.PackC > 45 {
		t.Fatalf("%+v", full)
	}
	if err := relay.Out(gpio.Low); err != nil {
		t.Fatal(err)
	}
	cooled := b.Now()
	for y.Truth().PackC > 24+10 {
		b.Advance(time.Minute)
	}
	took := b.Now() - cooled
	if took < 150*time.Minute || took > 5*time.Hour {
		t.Errorf("cooled to 10 K above the air in %v", took)
	}
	y.Unplug()
	b.Advance(2 * time.Minute)
	if v, err := convert(b, mustBus(t, b), 0x48, 4); err != nil || math.Abs(v) > 0.001 {
		t.Errorf("unplugged: %v V, %v", v, err)
	}
}
