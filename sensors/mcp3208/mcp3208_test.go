package mcp3208

import (
	"errors"
	"math"
	"strings"
	"testing"

	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spitest"

	"bayward/sensors/converter"
)

// frames are the bytes of one reading, laid out by hand from the data sheet's figure 6-1
// ("SPI Communication using 8-bit segments, Mode 0,0") and 5-2 (lowest bit first); codes
// by its equation 4-2, code = 4096 × VIN / VREF. From memory.
func frames() []struct {
	name    string
	channel int
	w, r    []byte
	wantV   float64
	want    error
} {
	return []struct {
		name    string
		channel int
		w, r    []byte
		wantV   float64
		want    error
	}{
		{"memory: half of the reference, channel 0", 0, []byte{0x06, 0x00, 0, 0, 0}, []byte{0xff, 0xe8, 0x00, 0x00, 0x20}, 2.048, nil},
		{"memory: one code, channel 5", 5, []byte{0x07, 0x40, 0, 0, 0}, []byte{0xff, 0xe0, 0x01, 0x00, 0x00}, 0.001, nil},
		{"memory: 0 V, channel 7", 7, []byte{0x07, 0xc0, 0, 0, 0}, []byte{0xff, 0xe0, 0x00, 0x00, 0x00}, 0, nil},
		{"memory: 0xabc, channel 2", 2, []byte{0x06, 0x80, 0, 0, 0}, []byte{0xff, 0xea, 0xbc, 0x7a, 0xa0}, 2.748, nil},
		{"memory: last code", 0, []byte{0x06, 0x00, 0, 0, 0}, []byte{0xff, 0xef, 0xff, 0xff, 0xe0}, 0, converter.ErrOverRange},
		{"no chip", 0, []byte{0x06, 0x00, 0, 0, 0}, []byte{0xff, 0xff, 0xff, 0xff, 0xff}, 0, converter.ErrNoAnswer},
		{"line held low", 0, []byte{0x06, 0x00, 0, 0, 0}, []byte{0, 0, 0, 0, 0}, 0, converter.ErrBusStuck},
		{"no pull-up", 0, []byte{0x06, 0x00, 0, 0, 0}, []byte{0x00, 0x08, 0x00, 0x00, 0x20}, 0, converter.ErrCorrupted},
		{"first byte not silent", 0, []byte{0x06, 0x00, 0, 0, 0}, []byte{0x7f, 0xe8, 0x00, 0x00, 0x20}, 0, converter.ErrCorrupted},
		{"second byte not silent", 0, []byte{0x06, 0x00, 0, 0, 0}, []byte{0xff, 0xa8, 0x00, 0x00, 0x20}, 0, converter.ErrCorrupted},
		{"no null bit", 0, []byte{0x06, 0x00, 0, 0, 0}, []byte{0xff, 0xf8, 0x00, 0x00, 0x20}, 0, converter.ErrCorrupted},
		{"one bit flipped in the result", 0, []byte{0x06, 0x00, 0, 0, 0}, []byte{0xff, 0xe8, 0x40, 0x00, 0x20}, 0, converter.ErrCorrupted},
		{"one bit flipped in the second result", 0, []byte{0x06, 0x00, 0, 0, 0}, []byte{0xff, 0xe8, 0x00, 0x08, 0x20}, 0, converter.ErrCorrupted},
	}
}

func TestRead(t *testing.T) {
	for _, tc := range frames() {
		t.Run(tc.name, func(t *testing.T) {
			p := &spitest.Playback{Playback: conntest.Playback{Ops: []conntest.IO{{W: tc.w, R: tc.r}}, DontPanic: true}}
			d, err := New(p)
			if err != nil {
				t.Fatal(err)
			}
			v, err := d.Read(t.Context(), tc.channel, 4096*physic.MilliVolt)
			if !errors.Is(err, tc.want) || err == nil && math.Abs(float64(v)/1e9-tc.wantV) > 1e-9 {
				t.Errorf("got %v, %v, want %g V, %v", v, err, tc.wantV, tc.want)
			}
			if err := p.Close(); err != nil {
				t.Error(err)
			}
		})
	}
}

// TestEverySingleFlip: no flipped bit of an answer is read as another voltage.
func TestEverySingleFlip(t *testing.T) {
	good := [frameBytes]byte{0xff, 0xea, 0xbc, 0x7a, 0xa0}
	for bit := range 8 * frameBytes {
		r := good
		r[bit/8] ^= 1 << (bit % 8)
		code, err := decode(r)
		lowest := bit/8 == 2 && bit%8 == 0 // B0 is given only once
		if err == nil && code != 0xabc && !lowest {
			t.Errorf("bit %d flipped: code %#x", bit, code)
		}
	}
}

func TestNewRefuses(t *testing.T) {
	if _, err := New(nil); err == nil {
		t.Error("no port: no error")
	}
	if _, err := New(&refusing{}); err == nil || !strings.Contains(err.Error(), "mcp3208: taken") {
		t.Errorf("a port that refuses: %v", err)
	}
	d, err := New(&spitest.Playback{Playback: conntest.Playback{DontPanic: true}})
	if err != nil {
		t.Fatal(err)
	}
	if d.Halt() != nil || !strings.HasPrefix(d.String(), "MCP3208{") {
		t.Errorf("%s, halt %v", d, d.Halt())
	}
	refused := func(what string, err error) {
		t.Helper()
		if err == nil || errors.Is(err, converter.ErrBusStuck) {
			t.Errorf("%s: got %v, want no transfer", what, err)
		}
	}
	for _, channel := range []int{-1, 8} {
		_, err := d.Read(t.Context(), channel, physic.Volt)
		refused("a channel that does not exist", err)
	}
	for _, reference := range []physic.ElectricPotential{249 * physic.MilliVolt, 5501 * physic.MilliVolt} {
		_, err := d.Read(t.Context(), 0, reference)
		refused("a reference that it cannot have", err)
	}
	for _, s := range []converter.Setting{{Minus: 1, RangeV: 4}, {Minus: converter.Ground, RangeV: 4, Rate: 8}} {
		_, err := d.Measure(t.Context(), s)
		refused("a pair or a rate", err)
	}
	if _, err := d.Read(t.Context(), 0, physic.Volt); !errors.Is(err, converter.ErrBusStuck) {
		t.Errorf("a failed transfer: %v", err)
	}
}

type refusing struct{ spi.Port }

func (*refusing) Connect(physic.Frequency, spi.Mode, int) (spi.Conn, error) {
	return nil, errors.New("taken")
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte{0xff, 0xea, 0xbc, 0x7a, 0xa0})
	f.Add([]byte{0xff, 0xff, 0xff, 0xff, 0xff})
	f.Fuzz(func(t *testing.T, b []byte) {
		var r [frameBytes]byte
		copy(r[:], b)
		if code, err := decode(r); err == nil && (code >= Codes || r[0] != 0xff) {
			t.Errorf("% x reads as %#x", r, code)
		}
	})
}
