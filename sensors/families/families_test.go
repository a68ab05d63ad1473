package families

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"pgregory.net/rapid"

	"bayward/sensors/converter"
)

// world is a chip on its bus, with what can go wrong there. It shares nothing with the
// drivers; each chip is written from its data sheet.
type world struct {
	chip         converter.Chip
	addr         uint16
	now          time.Duration
	pins         [8]float64
	reference    float64
	slow         float64
	never, dips  bool
	absent, held bool // no chip; the data line is held low
	resetAt      int  // the chip is reset before this transfer
	flipAt       int  // a bit of the answer is flipped in this transfer
	txs          int
}

func (w *world) Now() time.Duration              { return w.now }
func (w *world) Slow() float64                   { return w.slow }
func (w *world) PinV(channel int) float64        { return w.pins[channel] }
func (w *world) FullScaleV(int) float64          { return w.reference }
func (w *world) Noisy(code, _ float64) float64   { return code }
func (w *world) Never() bool                     { return w.never }
func (w *world) Dips() bool                      { return w.dips }
func (w *world) String() string                  { return "bus" }
func (w *world) SetSpeed(physic.Frequency) error { return nil }

func (w *world) wait(ctx context.Context, d time.Duration) error {
	w.now += d
	return ctx.Err()
}

func (w *world) before() {
	w.txs++
	w.now += 300 * time.Microsecond
	if w.txs == w.resetAt {
		w.chip.Reset()
	}
}

// i2cBus is the world as an I²C bus, spiPort as an SPI port.
type (
	i2cBus  struct{ *world }
	spiPort struct{ *world }
)

func (b i2cBus) Tx(addr uint16, w, r []byte) error {
	b.before()
	switch {
	case b.held:
		return syscall.ETIMEDOUT
	case b.absent || addr != b.addr:
		return syscall.EREMOTEIO
	}
	b.chip.Tx(w, r)
	if b.txs == b.flipAt && len(r) > 0 {
		r[0] ^= 0x10
	}
	return nil
}

func (p spiPort) Connect(f physic.Frequency, _ spi.Mode, bits int) (spi.Conn, error) {
	if f <= 0 || bits != 8 {
		return nil, errors.New("no such clock or word")
	}
	return p, nil
}
func (p spiPort) Duplex() conn.Duplex          { return conn.Full }
func (p spiPort) TxPackets([]spi.Packet) error { return errors.New("not used") }
func (p spiPort) Tx(w, r []byte) error {
	p.before()
	for i := range r {
		r[i] = 0xff
	}
	switch {
	case p.held:
		clear(r)
	case !p.absent:
		p.chip.Tx(w, r)
	}
	if p.txs == p.flipAt {
		r[len(r)-1] ^= 0x40
	}
	return nil
}

func fit(t require, f *converter.Family) (*world, converter.Dev) {
	w := &world{slow: 1, addr: f.FirstAddr, reference: 4.096}
	w.chip = f.Chip(w)
	port := converter.Port{Wait: w.wait}
	if f.Bus == converter.I2C {
		port.Bus, port.Addr = i2cBus{w}, f.FirstAddr
	} else {
		port.SPI = spiPort{w}
	}
	d, err := f.Open(port)
	if err != nil {
		t.Fatal(err)
	}
	return w, d
}

type require interface{ Fatal(args ...any) }

// setting is a valid setting for a channel.
func setting(f *converter.Family, channel int) converter.Setting {
	s := converter.Setting{Channel: channel, Minus: converter.Ground, Rate: f.DefaultRate, RangeV: f.Channels[channel].DefaultV}
	if f.Channels[channel].Ranges == nil {
		s.RangeV = 4.096
	}
	return s
}

// TestEveryFamilyReadsTrue: whatever is on the pins, each family reads it within a step,
// at each channel, pair, range and rate, with an oscillator at either end of its
// tolerance, or says that it is over range.
func TestEveryFamilyReadsTrue(t *testing.T) {
	for _, f := range All() {
		t.Run(f.Name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				w, d := fit(t, f)
				w.slow = rapid.Float64Range(0.9, 1.1).Draw(t, "oscillator")
				for range rapid.IntRange(1, 6).Draw(t, "readings") {
					s := anySetting(t, f)
					c := &f.Channels[s.Channel]
					for i := range f.Channels {
						low, high := max(-0.3, f.Channels[i].BottomV*1.2), f.Channels[i].TopV
						if !f.Channels[i].Shunt && f.Channels[i].BottomV == 0 {
							low = 0
						}
						w.pins[i] = rapid.Float64Range(low, high).Draw(t, "volts")
					}
					w.reference = s.RangeV
					want, step := w.pins[s.Channel], s.RangeV/c.Steps
					if s.Minus != converter.Ground {
						want -= w.pins[s.Minus]
					}
					got, err := d.Measure(t.Context(), s)
					switch {
					case errors.Is(err, converter.ErrOverRange):
						if math.Abs(want) < s.RangeV-2*step && want < c.TopV {
							t.Fatalf("%+v: over range at %g V", s, want)
						}
					case err != nil:
						t.Fatalf("%+v at %g V: %v", s, want, err)
					case math.Abs(float64(got)/1e9-want) > step:
						t.Fatalf("%+v: got %v, want %g V", s, got, want)
					}
				}
			})
		})
	}
}

func anySetting(t *rapid.T, f *converter.Family) converter.Setting {
	s := setting(f, rapid.IntRange(0, len(f.Channels)-1).Draw(t, "channel"))
	c := &f.Channels[s.Channel]
	if c.Ranges != nil {
		s.RangeV = rapid.SampledFrom(c.Ranges).Draw(t, "range")
	} else {
		s.RangeV = rapid.Float64Range(c.LowV, c.HighV).Draw(t, "reference")
	}
	if f.Rates != nil {
		s.Rate = rapid.SampledFrom(f.Rates).Draw(t, "rate")
	}
	if f.Pairs != nil && rapid.Bool().Draw(t, "differential") {
		p := rapid.SampledFrom(f.Pairs).Draw(t, "pair")
		s.Channel, s.Minus = p[0], p[1]
	}
	return s
}

// TestEveryFamilysFaults: each fault has its error, in bounded time, and the next
// reading after the repair is good.
func TestEveryFamilysFaults(t *testing.T) {
	for _, f := range All() {
		for _, tc := range []struct {
			name string
			put  func(w *world, on bool)
			want error
		}{
			{"absent", func(w *world, on bool) { w.absent = on }, converter.ErrNoAnswer},
			{"data line held low", func(w *world, on bool) { w.held = on }, converter.ErrBusStuck},
			{"never converts", func(w *world, on bool) { w.never = on }, converter.ErrNotReady},
			{"supply dips", func(w *world, on bool) { w.dips = on }, converter.ErrLostConfig},
		} {
			if f.Name == "mcp3208" && (tc.want == converter.ErrNotReady || tc.want == converter.ErrLostConfig) { //nolint:errorlint // of the table
				continue // it converts while it is clocked, and keeps nothing that a dip could lose
			}
			t.Run(f.Name+" "+tc.name, func(t *testing.T) {
				w, d := fit(t, f)
				s := setting(f, len(f.Channels)-1)
				for _, warm := range []bool{false, true} {
					w.pins[s.Channel] = 1.5
					if warm {
						if _, err := d.Measure(t.Context(), s); err != nil {
							t.Fatal(err)
						}
					}
					tc.put(w, true)
					from := w.now
					if v, err := d.Measure(t.Context(), s); !errors.Is(err, tc.want) {
						t.Errorf("warm %v: got %v, %v, want %v", warm, v, err, tc.want)
					}
					if took := w.now - from; took > 500*time.Millisecond {
						t.Errorf("warm %v: the fault took %v", warm, took)
					}
					tc.put(w, false)
					w.pins[s.Channel] = 2
					var v physic.ElectricPotential
					var err error
					for range 2 { // a chip that was not heard may show once what it kept
						if v, err = d.Measure(t.Context(), s); err == nil {
							break
						}
					}
					if err != nil || math.Abs(float64(v)/1e9-2) > 2e-3 {
						t.Errorf("warm %v, repaired: got %v, %v", warm, v, err)
					}
				}
			})
		}
	}
}

// TestNoFalseVoltage: whichever single transfer of a reading meets a reset chip, the
// value is that of the pins or an error.
func TestNoFalseVoltage(t *testing.T) {
	for _, f := range All() {
		for at := 1; at <= 12; at++ {
			t.Run(fmt.Sprintf("%s reset before transfer %d", f.Name, at), func(t *testing.T) {
				w, d := fit(t, f)
				s := setting(f, len(f.Channels)-1)
				w.pins[s.Channel] = 1.5
				if _, err := d.Measure(t.Context(), s); err != nil {
					t.Fatal(err)
				}
				w.pins[s.Channel], w.resetAt = 2, w.txs+at
				v, err := d.Measure(t.Context(), s)
				if err == nil && math.Abs(float64(v)/1e9-2) > 2e-3 {
					t.Errorf("got %v and no error", v)
				}
			})
		}
	}
}

// TestStaysOut: a caller whose context has ended gets it back at once.
func TestStaysOut(t *testing.T) {
	for _, f := range All() {
		_, d := fit(t, f)
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if _, err := d.Measure(ctx, setting(f, 0)); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: got %v", f.Name, err)
		}
		if bad := (converter.Setting{Channel: 99, Minus: converter.Ground}); true {
			if _, err := d.Measure(t.Context(), bad); err == nil {
				t.Errorf("%s: channel 99 is read", f.Name)
			}
		}
	}
}

// TestRows: each row is whole, and its folder has a driver, a chip and the title of its
// data sheet.
func TestRows(t *testing.T) {
	names := map[string]bool{}
	for _, f := range All() {
		if names[f.Name] || f.Title == "" || f.Open == nil || f.Chip == nil || len(f.Channels) == 0 {
			t.Errorf("%s: the row is not whole, or there twice", f.Name)
		}
		names[f.Name] = true
		if got, ok := Named(f.Name); !ok || got != f {
			t.Errorf("%s is not found by its name", f.Name)
		}
		if (f.Bus == converter.I2C) != (f.LastAddr > 0) {
			t.Errorf("%s: addresses are for I²C", f.Name)
		}
		for i := range f.Channels {
			s := setting(f, i)
			if err := f.Check(s); err != nil {
				t.Errorf("%s channel %d: its default is refused: %v", f.Name, i, err)
			}
		}
	}
	if got, ok := Named(""); !ok || got != table[0] {
		t.Error("no name is not the first row")
	}
	docs, err := filepath.Glob("../*/doc.go")
	if err != nil {
		t.Fatal(err)
	}
	sheets := 0
	for _, path := range docs {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(filepath.Join(filepath.Dir(path), "chip")); err == nil {
			sheets++
			if !strings.Contains(string(text), "Data sheet") {
				t.Errorf("%s names no data sheet", path)
			}
		}
	}
	if sheets < 4 {
		t.Errorf("%d folders of drivers found: the search is broken", sheets)
	}
}
