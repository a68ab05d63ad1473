package ads1118

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

// The words of one reading of AIN2 at ±4.096 V and 128 samples a second, put together
// by hand from the data sheet's table of the config register (SBAS457, "Config Register
// Field Descriptions"; from memory): start 1, MUX 110, PGA 001, MODE 1, DR 100, TS_MODE,
// PULL_UP_EN 1, NOP 01, 1.
const (
	startAIN2  = 0b1110_0011_1000_1011
	startTemp  = 0b1110_0011_1001_1011
	readTemp   = 0b0110_0011_1001_1011 // as the register reads while the sensor is chosen
	readAIN2   = 0b0110_0011_1000_1011
	at25C      = 0x0c80 // +25 °C is 0x0320 in 14 bits (table "14-Bit Temperature Data Format")
	resetValue = 0x058b
)

// transfer is one transfer: what is written twice, and the two words that come back.
func transfer(w, result, config uint16) conntest.IO {
	return conntest.IO{
		W: []byte{byte(w >> 8), byte(w), byte(w >> 8), byte(w)},
		R: []byte{byte(result >> 8), byte(result), byte(config >> 8), byte(config)},
	}
}

func reading(code uint16) []conntest.IO {
	return []conntest.IO{
		transfer(startTemp, 0, readTemp), transfer(0, at25C, readTemp),
		transfer(startAIN2, at25C, readAIN2), transfer(0, code, readAIN2),
	}
}

func noWait(ctx context.Context, _ time.Duration) error { return ctx.Err() }

var setting = converter.Setting{Channel: 2, Minus: converter.Ground, RangeV: 4.096, Rate: 128}

// TestCodes: the data sheet's table "Input Signal Versus Ideal Output Code".
func TestCodes(t *testing.T) {
	for _, tc := range []struct {
		name  string
		code  uint16
		wantV float64
		want  error
	}{
		{"memory: FS/2^15", 0x0001, 4.096 / 32768, nil},
		{"memory: 0", 0x0000, 0, nil},
		{"memory: -FS/2^15", 0xffff, -4.096 / 32768, nil},
		{"memory: FS(2^15-1)/2^15 and above", 0x7fff, 0, converter.ErrOverRange},
		{"memory: -FS and below", 0x8000, 0, converter.ErrOverRange},
		{"arithmetic: half", 0x4000, 2.048, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			v, err := play(t, reading(tc.code))
			if !errors.Is(err, tc.want) || err == nil && math.Abs(float64(v)/1e9-tc.wantV) > 1e-9 {
				t.Errorf("got %v, %v, want %g V, %v", v, err, tc.wantV, tc.want)
			}
		})
	}
}

func play(t *testing.T, ops []conntest.IO) (physic.ElectricPotential, error) {
	t.Helper()
	p := &spitest.Playback{Playback: conntest.Playback{Ops: ops, DontPanic: true}}
	d, err := New(p, &Opts{Wait: noWait})
	if err != nil {
		t.Fatal(err)
	}
	v, err := d.Measure(t.Context(), setting)
	if closing := p.Close(); closing != nil {
		t.Errorf("%v after %v", closing, err)
	}
	return v, err
}

// TestBadAnswers: what is on the data line, and the error.
func TestBadAnswers(t *testing.T) {
	const again = 0b1110_0101_1000_1011 // AIN2 at ±2.048 V
	for name, tc := range map[string]struct {
		ops  []conntest.IO
		want error
	}{
		"nothing there":  {[]conntest.IO{transfer(startTemp, 0xffff, 0xffff)}, converter.ErrNoAnswer},
		"line held low":  {[]conntest.IO{transfer(startTemp, 0, 0)}, converter.ErrBusStuck},
		"start not kept": {[]conntest.IO{transfer(startTemp, 0, resetValue)}, converter.ErrLostConfig},
		"reset while converting": {[]conntest.IO{
			transfer(startTemp, 0, readTemp), transfer(0, at25C, readTemp),
			transfer(startAIN2, at25C, readAIN2), transfer(0, 0, resetValue),
		}, converter.ErrLostConfig},
		"no temperature sensor": {[]conntest.IO{transfer(startTemp, 0, readTemp), transfer(0, 0x0c83, readTemp)}, converter.ErrForeign},
		"130 °C":                {[]conntest.IO{transfer(startTemp, 0, readTemp), transfer(0, 130*128, readTemp)}, converter.ErrForeign},
		"does not convert": {[]conntest.IO{
			transfer(startTemp, at25C, readTemp), transfer(0, at25C, readTemp),
			transfer(startAIN2, at25C, readAIN2), transfer(0, at25C, readAIN2),
			transfer(again, at25C, again&^(1<<15)), transfer(0, at25C, again&^(1<<15)),
		}, converter.ErrNotReady},
		"the voltage has the code of the temperature": {[]conntest.IO{
			transfer(startTemp, 0, readTemp), transfer(0, at25C, readTemp),
			transfer(startAIN2, at25C, readAIN2), transfer(0, at25C, readAIN2),
			transfer(again, at25C, again&^(1<<15)), transfer(0, 2*at25C, again&^(1<<15)),
		}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			v, err := play(t, tc.ops)
			if !errors.Is(err, tc.want) || err == nil && v != 400*physic.MilliVolt {
				t.Errorf("got %v, %v, want %v", v, err, tc.want)
			}
		})
	}
}

func TestNewRefuses(t *testing.T) {
	if _, err := New(nil, nil); err == nil {
		t.Error("no port: no error")
	}
	if _, err := New(&refusing{}, nil); err == nil || !strings.Contains(err.Error(), "ads1118: taken") {
		t.Errorf("a port that refuses: %v", err)
	}
	d, err := New(&spitest.Playback{Playback: conntest.Playback{DontPanic: true}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if d.Halt() != nil || !strings.HasPrefix(d.String(), "ADS1118{") {
		t.Errorf("%s, halt %v", d, d.Halt())
	}
	if _, err := d.Measure(t.Context(), setting); !errors.Is(err, converter.ErrBusStuck) {
		t.Errorf("a failed transfer: %v", err)
	}
}

type refusing struct{ spi.Port }

func (*refusing) Connect(physic.Frequency, spi.Mode, int) (spi.Conn, error) {
	return nil, errors.New("taken")
}
