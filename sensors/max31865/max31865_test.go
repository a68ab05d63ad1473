package max31865

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spitest"

	"bayward/sensors/converter"
)

// TestCelsius: the table of IEC 60751 for Pt100, Ω at °C, to a hundredth of an ohm, which
// is 0.026 K.
func TestCelsius(t *testing.T) {
	for name, row := range map[string][2]float64{
		"published: -50 °C": {80.31, -50}, "published: -40 °C": {84.27, -40}, "published: -20 °C": {92.16, -20}, "published: -10 °C": {96.09, -10},
		"published: 0 °C": {100, 0}, "published: 10 °C": {103.90, 10}, "published: 20 °C": {107.79, 20}, "published: 25 °C": {109.73, 25},
		"published: 50 °C": {119.40, 50}, "published: 80 °C": {130.90, 80}, "published: 100 °C": {138.51, 100}, "published: 120 °C": {146.07, 120},
	} {
		t.Run(name, func(t *testing.T) {
			if got, err := Celsius(row[0] / 100); err != nil || math.Abs(got-row[1]) > 0.015 {
				t.Errorf("%g Ω: got %.3f, %v, want %g", row[0], got, err, row[1])
			}
		})
	}
	for c, ratio := range map[float64]float64{MinC: 0.783214, MaxC: 1.479514} { // the ends, a thousandth of a kelvin inside
		if got, err := Celsius(ratio); err != nil || math.Abs(got-c) > 0.02 {
			t.Errorf("%g: got %.4f, %v, want %g", ratio, got, err, c)
		}
	}
	for ratio, want := range map[float64]error{
		0: ErrShort, 0.2: ErrShort, 0.5: ErrImplausible, 0.77: ErrImplausible, 1.5: ErrImplausible, 2.0: ErrImplausible, 3: ErrOpen, math.Inf(1): ErrOpen, math.NaN(): ErrShort,
	} {
		if got, err := Celsius(ratio); !errors.Is(err, want) {
			t.Errorf("%g: got %g, %v, want %v", ratio, got, err, want)
		}
	}
}

func noWait(ctx context.Context, _ time.Duration) error { return ctx.Err() }

var pt100 = Opts{NominalOhm: 100, ReferenceOhm: 400, Wires: 3, MainsHz: 50, Wait: noWait}

// reading is the transfers of a reading with three wires at 50 Hz, and what the registers
// hold after the test of the wires and at the end. A reading that fails in the test ends
// there.
func reading(failsInTest bool, r ...byte) []conntest.IO {
	write := func(v byte) conntest.IO { return conntest.IO{W: []byte{0x80, v}, R: []byte{0, 0}} }
	registers := conntest.IO{W: make([]byte, 9), R: append([]byte{0}, r...)}
	ops := []conntest.IO{write(0b1001_0011), write(0b1001_0101), registers}
	if !failsInTest {
		ops = append(ops, write(0b1011_0001), registers)
	}
	return append(ops, write(0))
}

// TestRead: the data sheet's table of RTD codes with a reference of 400 Ω ("Example for
// RTD resistance data", table 9): 100 Ω is code 8192, 0x4000 in the registers; 138.51 Ω
// is 11347.
func TestRead(t *testing.T) {
	for name, tc := range map[string]struct {
		r     []byte
		wantC float64
		want  error
	}{
		"memory: 0 °C":         {[]byte{0x91, 0x40, 0x00, 0xff, 0xff, 0, 0, 0}, 0, nil},
		"memory: 100 °C":       {[]byte{0x91, 0x58, 0xa6, 0xff, 0xff, 0, 0, 0}, 100, nil},
		"wire broken":          {[]byte{0x91, 0xff, 0xff, 0xff, 0xff, 0, 0, 0x18}, 0, ErrOpen},
		"element open":         {[]byte{0x91, 0xff, 0xfe, 0xff, 0xff, 0, 0, 0}, 0, ErrOpen},
		"open by its status":   {[]byte{0x91, 0x40, 0x01, 0xff, 0xff, 0, 0, 0x20}, 0, ErrOpen},
		"wires touch":          {[]byte{0x91, 0x00, 0x02, 0xff, 0xff, 0, 0, 0}, 0, ErrShort},
		"voltage from outside": {[]byte{0x91, 0x40, 0x01, 0xff, 0xff, 0, 0, 0x04}, 0, ErrImplausible},
		"nothing there":        {[]byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, 0, converter.ErrNoAnswer},
		"line held low":        {make([]byte, 8), 0, converter.ErrBusStuck},
		"reset":                {[]byte{0x00, 0x00, 0x00, 0xff, 0xff, 0, 0, 0}, 0, converter.ErrLostConfig},
		"other wires":          {[]byte{0x81, 0x40, 0x00, 0xff, 0xff, 0, 0, 0}, 0, converter.ErrLostConfig},
		"test does not end":    {[]byte{0x95, 0x40, 0x00, 0xff, 0xff, 0, 0, 0}, 0, converter.ErrNotReady},
		"bits damaged":         {[]byte{0x91, 0x40, 0x00, 0xff, 0xfb, 0, 0, 0}, 0, converter.ErrCorrupted},
	} {
		t.Run(name, func(t *testing.T) {
			failsInTest := tc.want != nil && !errors.Is(tc.want, ErrOpen) && !errors.Is(tc.want, ErrShort) && !errors.Is(tc.want, ErrImplausible)
			p := &spitest.Playback{Playback: conntest.Playback{Ops: reading(failsInTest, tc.r...), DontPanic: true}}
			d, err := New(p, &pt100)
			if err != nil {
				t.Fatal(err)
			}
			got, err := d.Read(t.Context())
			if !errors.Is(err, tc.want) || err == nil && math.Abs(float64(got-physic.ZeroCelsius)/1e9-tc.wantC) > 0.035 { // a code is 0.03 K
				t.Errorf("got %v, %v, want %g °C, %v", got, err, tc.wantC, tc.want)
			}
			if err := p.Close(); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestNewRefuses(t *testing.T) {
	p := &spitest.Playback{Playback: conntest.Playback{DontPanic: true}}
	for name, change := range map[string]func(*Opts){
		"wires": func(o *Opts) { o.Wires = 1 }, "mains": func(o *Opts) { o.MainsHz = 16 }, "nominal": func(o *Opts) { o.NominalOhm = 0 },
		"reference": func(o *Opts) { o.ReferenceOhm = 160 }, "not a number": func(o *Opts) { o.ReferenceOhm = math.NaN() },
	} {
		o := pt100
		change(&o)
		if _, err := New(p, &o); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := New(nil, &pt100); err == nil {
		t.Error("no port: no error")
	}
	if _, err := New(&refusing{}, &pt100); err == nil || !strings.Contains(err.Error(), "max31865: taken") {
		t.Errorf("a port that refuses: %v", err)
	}
	d, err := New(p, &pt100)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(d.String(), "MAX31865{") {
		t.Errorf("%s", d)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := d.Read(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("canceled: %v", err)
	}
	if _, err := d.Read(t.Context()); !errors.Is(err, converter.ErrBusStuck) {
		t.Errorf("a failed transfer: %v", err)
	}
}

type refusing struct{ spi.Port }

func (*refusing) Connect(physic.Frequency, spi.Mode, int) (spi.Conn, error) {
	return nil, errors.New("taken")
}
