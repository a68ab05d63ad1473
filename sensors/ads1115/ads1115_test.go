package ads1115

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

func newDev(t testing.TB, c *chip) *Dev {
	t.Helper()
	d, err := New(c, &Opts{Addr: 0x48, Wait: c.wait})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func noWait(ctx context.Context, _ time.Duration) error { return ctx.Err() }

// TestScript compares the exact bytes on the wire with the fields of the data
// sheet's config register: OS, MUX 100, PGA 001, MODE 1, DR 100, COMP_QUE 11.
func TestScript(t *testing.T) {
	bus := &i2ctest.Playback{DontPanic: true, Ops: []i2ctest.IO{
		{Addr: 0x49, W: []byte{2}, R: []byte{0x80, 0x00}},
		{Addr: 0x49, W: []byte{3}, R: []byte{0x7f, 0xff}},
		{Addr: 0x49, W: []byte{1, 0x01, 0x0f}},
		{Addr: 0x49, W: []byte{1}, R: []byte{0x01, 0x0f}}, // still busy
		{Addr: 0x49, W: []byte{1}, R: []byte{0x81, 0x0f}},
		{Addr: 0x49, W: []byte{1, 0xc3, 0x87}},
		{Addr: 0x49, W: []byte{1}, R: []byte{0x43, 0x87}}, // still busy
		{Addr: 0x49, W: []byte{1}, R: []byte{0xc3, 0x87}},
		{Addr: 0x49, W: []byte{0}, R: []byte{0x40, 0x00}}, // half of full scale
		{Addr: 0x49, W: []byte{1}, R: []byte{0xc3, 0x87}},
		{Addr: 0x49, W: []byte{1, 0xc3, 0x8f}}, // the second conversion has the other mark
		{Addr: 0x49, W: []byte{1}, R: []byte{0xc3, 0x8f}},
		{Addr: 0x49, W: []byte{0}, R: []byte{0xff, 0xfe}},
		{Addr: 0x49, W: []byte{1}, R: []byte{0xc3, 0x8f}},
	}}
	d, err := New(bus, &Opts{Addr: 0x49, Wait: noWait})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []physic.ElectricPotential{2048 * physic.MilliVolt, -250 * physic.MicroVolt} {
		got, err := d.Read(t.Context(), Single0, FS4096, SPS128)
		if err != nil || got != want {
			t.Errorf("got %v, %v, want %v", got, err, want)
		}
	}
	if err := bus.Close(); err != nil {
		t.Error(err)
	}
	if got, want := d.String(), "ADS1115{playback(73)}"; got != want {
		t.Errorf("String: got %q, want %q", got, want)
	}
	if err := d.Halt(); err != nil {
		t.Error(err)
	}
}

// TestStep: the step of each range, SBAS444E table "Full-Scale Range and
// Corresponding LSB Size", in nanovolts (half a nanovolt is cut off).
func TestStep(t *testing.T) {
	for gain, want := range map[Gain]physic.ElectricPotential{
		FS6144: 187500, FS4096: 125000, FS2048: 62500, FS1024: 31250, FS512: 15625, FS256: 7812,
	} {
		if got, err := volts(1, gain); err != nil || got != want {
			t.Errorf("%s: got %d nV, %v, want %d", gain, got, err, want)
		}
		if got, err := volts(0xffff, gain); err != nil || got != -want {
			t.Errorf("%s: code 0xffff: got %d nV, %v, want %d", gain, got, err, -want)
		}
		for _, raw := range []uint16{0x7fff, 0x8000} { // "Input Signal versus Ideal Output Code"
			if _, err := volts(raw, gain); !errors.Is(err, ErrOverRange) {
				t.Errorf("%s: code %#x: got %v, want over range", gain, raw, err)
			}
		}
	}
}

// TestEverySetting reads all 8 inputs at all 6 ranges and 8 rates, with the
// oscillator at both ends of its tolerance.
func TestEverySetting(t *testing.T) {
	pairs := [numMux][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}, {0, -1}, {1, -1}, {2, -1}, {3, -1}}
	fullScale := [numGains]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}
	for _, stretch := range []float64{0.9, 1.1} {
		c := newChip()
		c.stretch = stretch
		d := newDev(t, c)
		for mux := range numMux {
			for gain := range numGains {
				for rate := range numRates {
					c.pins = [4]float64{0.2, 0.11, 0.077, 0.05}
					c.pins[int(rate)%4] += float64(gain) * 0.001
					want := c.pins[pairs[mux][0]]
					if pairs[mux][1] >= 0 {
						want -= c.pins[pairs[mux][1]]
					}
					start := c.now
					got, err := d.Read(t.Context(), mux, gain, rate)
					if err != nil {
						t.Fatalf("%s %s %s: %v", mux, gain, rate, err)
					}
					if diff := math.Abs(float64(got)/1e9 - want); diff > fullScale[gain]/32768 {
						t.Errorf("%s %s %s: got %v, want %g V", mux, gain, rate, got, want)
					}
					if took, limit := c.now-start, 3*rate.Period()+10*time.Millisecond; mux > 0 && took > limit {
						t.Errorf("%s: took %v, more than %v", rate, took, limit)
					}
				}
			}
		}
	}
}

func TestLookups(t *testing.T) {
	for _, fs := range []int{6144, 4096, 2048, 1024, 512, 256} {
		g, ok := GainFor(physic.ElectricPotential(fs) * physic.MilliVolt)
		if !ok || g.FullScale() != physic.ElectricPotential(fs)*physic.MilliVolt {
			t.Errorf("range of %d mV: got %v, %v", fs, g, ok)
		}
	}
	for _, sps := range []int{8, 16, 32, 64, 128, 250, 475, 860} {
		r, ok := RateFor(sps)
		if !ok || r.Period() != time.Second/time.Duration(sps) {
			t.Errorf("rate %d: got %v, %v", sps, r, ok)
		}
	}
	if m, ok := MuxFor(2, 3); !ok || m != Diff23 || m.String() != "AIN2-AIN3" {
		t.Errorf("2 against 3: got %v, %v", m, ok)
	}
	if m, ok := MuxFor(3, Ground); !ok || m != Single3 || m.String() != "AIN3" {
		t.Errorf("3 against ground: got %v, %v", m, ok)
	}
	_, gain := GainFor(3 * physic.Volt)
	_, rate := RateFor(100)
	_, mux := MuxFor(1, 2)
	if gain || rate || mux {
		t.Errorf("settings that the chip does not have were found: range %v, rate %v, inputs %v", gain, rate, mux)
	}
	if numGains.FullScale() != 0 || numRates.Period() != 0 || fmt.Sprint(numMux, numGains, numRates) != "mux-8 gain-6 rate-8" {
		t.Error("a setting beyond the last one looks valid")
	}
}

func TestNewRefuses(t *testing.T) {
	if _, err := New(nil, nil); err == nil {
		t.Error("no bus: no error")
	}
	for _, addr := range []uint16{0, 0x47, 0x4c} {
		if _, err := New(newChip(), &Opts{Addr: addr}); err == nil || !strings.Contains(err.Error(), "0x48") {
			t.Errorf("address %#x: got %v", addr, err)
		}
	}
	d, err := New(newChip(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.Read(t.Context(), numMux, FS4096, SPS860); err == nil {
		t.Error("an input that does not exist: no error")
	}
}

// TestFaults puts one fault at each transfer of a reading, cold and warm, and
// expects its error, and a good value from the next reading.
func TestFaults(t *testing.T) {
	want := map[fault][]error{
		nack:     {ErrNoAnswer},
		stuck:    {ErrBusStuck},
		deaf:     {ErrNoAnswer, ErrForeign, ErrLostConfig, nil},
		brownOut: {ErrLostConfig, nil},
	}
	for kind, allowed := range want {
		for _, warm := range []bool{false, true} {
			for at := 1; at <= 9; at++ {
				faulty := newChip()
				faulty.pins[0] = 1
				d := newDev(t, faulty)
				if warm {
					mustRead(t, d, physic.Volt)
				}
				faulty.fault[faulty.txs+at] = kind
				last := faulty.txs + at
				got, err := d.Read(t.Context(), Single0, FS2048, SPS860)
				if faulty.txs < last {
					continue // the reading has fewer transfers than that
				}
				if !isOneOf(err, allowed) || err == nil && got != physic.Volt {
					t.Errorf("fault %d at transfer %d, warm %v: got %v, %v", kind, at, warm, got, err)
				}
				mustRead(t, d, physic.Volt)
			}
		}
	}
}

func isOneOf(err error, allowed []error) bool {
	for _, want := range allowed {
		if errors.Is(err, want) {
			return true
		}
	}
	return false
}

func mustRead(t *testing.T, d *Dev, want physic.ElectricPotential) {
	t.Helper()
	if got, err := d.Read(t.Context(), Single0, FS2048, SPS860); err != nil || got != want {
		t.Fatalf("got %v, %v, want %v", got, err, want)
	}
}

// TestBrownOutLooksLikeUs: with these settings only the mark distinguishes our
// configuration from the register's reset value (0x8583).
func TestBrownOutLooksLikeUs(t *testing.T) {
	c := newChip()
	c.pins[0] = 1.5
	d := newDev(t, c)
	if _, err := d.Read(t.Context(), Diff01, FS2048, SPS128); err != nil {
		t.Fatal(err)
	}
	c.fault[c.txs+2] = brownOut // after the start
	if got, err := d.Read(t.Context(), Diff01, FS2048, SPS128); !errors.Is(err, ErrLostConfig) {
		t.Errorf("got %v, %v, want a lost configuration", got, err)
	}
}

func TestUnseenLossOfStart(t *testing.T) {
	c := newChip()
	c.pins[0] = 1
	d := newDev(t, c)
	mustRead(t, d, physic.Volt)
	c.pins[0] = 0.5
	c.fault[c.txs+1] = deaf
	if got, err := d.Read(t.Context(), Single0, FS2048, SPS860); !errors.Is(err, ErrLostConfig) {
		t.Errorf("a start that never arrived: got %v, %v, want a lost configuration", got, err)
	}
}

func TestNeverReady(t *testing.T) {
	c := newChip()
	d := newDev(t, c)
	mustRead(t, d, 0)
	c.dead = true
	start := c.now
	_, err := d.Read(t.Context(), Single0, FS2048, SPS8)
	if !errors.Is(err, ErrNotReady) {
		t.Errorf("got %v, want not ready", err)
	}
	if took := c.now - start; took < 3*SPS8.Period() || took > 4*SPS8.Period() {
		t.Errorf("gave up after %v, want about three periods of %v", took, SPS8.Period())
	}
}

// TestRunningConversion: a caller gives up in the middle of a slow conversion
// of another input; the next reading must not show that input.
func TestRunningConversion(t *testing.T) {
	c := newChip()
	c.pins = [4]float64{1, 0.25, 0, 0}
	ctx, cancel := context.WithCancel(t.Context())
	waits := 0
	d, err := New(c, &Opts{Addr: 0x48, Wait: func(ctx context.Context, d time.Duration) error {
		if waits++; waits == 1 {
			cancel()
			return ctx.Err()
		}
		return c.wait(ctx, d)
	}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.Read(ctx, Single1, FS2048, SPS8); !errors.Is(err, context.Canceled) {
		t.Fatalf("got %v, want canceled", err)
	}
	mustRead(t, d, physic.Volt)
}

// TestLeftContinuous: an earlier program left the chip in continuous mode (config
// 0x8483 as in the data sheet's quick-start example, 10.1.1).
func TestLeftContinuous(t *testing.T) {
	c := newChip()
	c.pins[0] = 1
	c.reg[1] = 0x8483
	d := newDev(t, c)
	if err := d.Probe(t.Context()); err != nil {
		t.Fatal(err)
	}
	mustRead(t, d, physic.Volt)
}

func TestAbsentThenThere(t *testing.T) {
	c := newChip()
	c.pins[0] = 1
	d := newDev(t, c)
	c.fault[1], c.fault[2] = nack, nack
	if err := d.Probe(t.Context()); !errors.Is(err, ErrNoAnswer) {
		t.Errorf("got %v, want no answer", err)
	}
	if _, err := d.Read(t.Context(), Single0, FS2048, SPS860); !errors.Is(err, ErrNoAnswer) {
		t.Errorf("got %v, want no answer", err)
	}
	mustRead(t, d, physic.Volt)
}

func TestForeignChip(t *testing.T) {
	c := newChip()
	c.reg[2], c.reg[3] = 0x4b00, 0x5000 // the thresholds of a common temperature sensor at this address
	d := newDev(t, c)
	if _, err := d.Read(t.Context(), Single0, FS2048, SPS860); !errors.Is(err, ErrForeign) {
		t.Errorf("got %v, want foreign", err)
	}
	if c.reg[1] != 0x8583 {
		t.Errorf("a foreign chip was written to: %#x", c.reg[1])
	}
}

func TestBusyChipCanBeGivenUp(t *testing.T) {
	d := newDev(t, newChip())
	d.busy <- struct{}{} // as if another goroutine were stuck in a transfer
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() {
		_, err := d.Read(ctx, Single0, FS2048, SPS860)
		done <- err
	}()
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want canceled", err)
	}
}

// TestTruth: whatever single fault happens at any transfer, a returned value is the
// voltage at the requested input, at the time of the call.
func TestTruth(t *testing.T) {
	fullScale := [numGains]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}
	rapid.Check(t, func(t *rapid.T) {
		c := newChip()
		c.stretch = rapid.Float64Range(0.9, 1.1).Draw(t, "stretch")
		d, err := New(c, &Opts{Addr: 0x48, Wait: c.wait})
		if err != nil {
			t.Fatal(err)
		}
		for range rapid.IntRange(1, 20).Draw(t, "readings") {
			for i := range c.pins {
				c.pins[i] = rapid.Float64Range(-0.3, 5.3).Draw(t, "volts")
			}
			if rapid.Bool().Draw(t, "faulty") {
				at := c.txs + rapid.IntRange(1, 12).Draw(t, "at")
				c.fault = map[int]fault{at: rapid.SampledFrom([]fault{nack, deaf, brownOut, stuck}).Draw(t, "fault")}
			}
			mux := Mux(rapid.IntRange(0, int(numMux)-1).Draw(t, "mux"))
			gain := Gain(rapid.IntRange(0, int(numGains)-1).Draw(t, "gain"))
			rate := Rate(rapid.IntRange(0, int(numRates)-1).Draw(t, "rate"))
			pairs := [numMux][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}, {0, -1}, {1, -1}, {2, -1}, {3, -1}}
			want := c.pins[pairs[mux][0]]
			if pairs[mux][1] >= 0 {
				want -= c.pins[pairs[mux][1]]
			}
			faulty := len(c.fault) > 0
			got, err := d.Read(t.Context(), mux, gain, rate)
			switch {
			case err == nil && math.Abs(float64(got)/1e9-want) > fullScale[gain]/32768:
				t.Fatalf("%s %s: got %v, want %g V", mux, gain, got, want)
			case err != nil && !faulty && !errors.Is(err, ErrOverRange):
				t.Fatalf("%s %s: %v without a fault", mux, gain, err)
			case errors.Is(err, ErrOverRange) && math.Abs(want) < fullScale[gain]*0.999:
				t.Fatalf("%s %s: over range at %g V", mux, gain, want)
			}
			c.fault = map[int]fault{}
			if err != nil && !errors.Is(err, ErrOverRange) {
				if err := d.Probe(t.Context()); err != nil {
					t.Fatalf("no recovery: %v", err)
				}
			}
		}
	})
}

// FuzzVolts: no code decodes to a voltage outside the range or of the wrong
// sign, and only the two end codes are refused.
func FuzzVolts(f *testing.F) {
	for _, raw := range []uint16{0, 1, 0x7ffe, 0x7fff, 0x8000, 0x8001, 0xffff} {
		f.Add(raw, uint8(raw))
	}
	f.Fuzz(func(t *testing.T, raw uint16, g uint8) {
		gain := Gain(g) % numGains
		v, err := volts(raw, gain)
		switch {
		case (err != nil) != (raw == 0x7fff || raw == 0x8000):
			t.Fatalf("code %#x: %v", raw, err)
		case err == nil && (v >= gain.FullScale() || v <= -gain.FullScale()):
			t.Fatalf("code %#x at %s: %v is outside", raw, gain, v)
		case err == nil && (v < 0) != (raw >= 0x8000):
			t.Fatalf("code %#x at %s: %v has the wrong sign", raw, gain, v)
		}
	})
}

func BenchmarkRead(b *testing.B) {
	c := newChip()
	d := newDev(b, c)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Read(b.Context(), Single0, FS4096, SPS860); err != nil {
			b.Fatal(err)
		}
	}
}
