package ina22x

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"

	"bayward/sensors/converter"
)

func noWait(ctx context.Context, _ time.Duration) error { return ctx.Err() }

func read(reg byte, r ...byte) i2ctest.IO { return i2ctest.IO{Addr: 0x40, W: []byte{reg}, R: r} }
func write(reg byte, v ...byte) i2ctest.IO {
	return i2ctest.IO{Addr: 0x40, W: append([]byte{reg}, v...)}
}

// one226 is a first reading of an INA226. The configuration was put together by hand
// from the data sheet's table (SBOS547, "Configuration Register"; from memory): bit 14, AVG
// 001, VBUSCT, VSHCT, MODE.
func one226(result i2ctest.IO, config ...byte) []i2ctest.IO {
	return []i2ctest.IO{
		read(0xfe, 0x54, 0x49), read(0xff, 0x22, 0x60),
		write(0, config...), read(6, 0x00, 0x08), result, read(0, config...),
	}
}

// one228 is the same of an INA228 (SBOSA20, "ADC_CONFIG": MODE, VBUSCT, VSHCT, VTCT, AVG;
// from memory).
func one228(result i2ctest.IO, config ...byte) []i2ctest.IO {
	return []i2ctest.IO{
		read(0x3e, 0x54, 0x49), read(0x3f, 0x22, 0x81), write(0, 0, 0), write(0x0b, 0x80, 0x01),
		write(1, config...), read(0x0b, 0x80, 0x03), result, read(1, config...), read(0, 0, 0), read(0x0b, 0x80, 0x01),
	}
}

var (
	shunt226 = []byte{0b0100_0010, 0b1011_0001} // VBUSCT 010, VSHCT 110, MODE 001
	bus226   = []byte{0b0100_0011, 0b1001_0010} // VBUSCT 110, VSHCT 010, MODE 010
	shunt228 = []byte{0b0010_1111, 0b1101_0001} // MODE 2, 111, 111, VTCT 010, AVG 001
	bus228   = []byte{0b0001_1111, 0b1101_0001}
)

// TestRegisters: the worked examples of the data sheets (SBOS547, table "Calculating
// Current and Power", and the text on negative shunt voltages), and the ends of the
// ranges in their electrical characteristics.
func TestRegisters(t *testing.T) {
	for _, tc := range []struct {
		name    string
		model   *Model
		channel int
		ops     []i2ctest.IO
		wantV   float64
		want    error
	}{
		{"published: 1F40h is 20 mV", &INA226, Shunt, one226(read(1, 0x1f, 0x40), shunt226...), 0.020, nil},
		{"published: 8300h is -80 mV", &INA226, Shunt, one226(read(1, 0x83, 0x00), shunt226...), -0.080, nil},
		{"published: 2570h is 11.98 V", &INA226, Bus, one226(read(2, 0x25, 0x70), bus226...), 11.98, nil},
		{"published: 81.92 mV is the full scale", &INA226, Shunt, one226(read(1, 0x7f, 0xff), shunt226...), 0, converter.ErrOverRange},
		{"published: 36 V is the most", &INA226, Bus, one226(read(2, 0x70, 0x81), bus226...), 0, converter.ErrOverRange},
		{"published: 36 V is still read", &INA226, Bus, one226(read(2, 0x70, 0x80), bus226...), 36, nil},
		{"memory: 312.5 nV a step", &INA228, Shunt, one228(read(4, 0x00, 0x00, 0x10), shunt228...), 312e-9, nil},
		{"memory: -163.84 mV is the full scale", &INA228, Shunt, one228(read(4, 0x80, 0x00, 0x00), shunt228...), 0, converter.ErrOverRange},
		{"memory: 195.3125 µV a step", &INA228, Bus, one228(read(5, 0x3e, 0x80, 0x00), bus228...), 256000 * 195.3125e-6, nil},
		{"memory: 85 V is the most", &INA228, Bus, one228(read(5, 0x6a, 0x41, 0x00), bus228...), 0, converter.ErrOverRange},
	} {
		t.Run(tc.name, func(t *testing.T) {
			v, err := play(t, tc.model, tc.channel, tc.ops)
			if !errors.Is(err, tc.want) || err == nil && math.Abs(float64(v)/1e9-tc.wantV) > 1e-9 {
				t.Errorf("got %v, %v, want %g V, %v", v, err, tc.wantV, tc.want)
			}
		})
	}
}

func play(t *testing.T, m *Model, channel int, ops []i2ctest.IO) (physic.ElectricPotential, error) {
	t.Helper()
	b := &i2ctest.Playback{Ops: ops, DontPanic: true}
	d, err := New(b, m, &Opts{Addr: 0x40, Wait: noWait})
	if err != nil {
		t.Fatal(err)
	}
	v, err := d.Measure(t.Context(), converter.Setting{Channel: channel, Minus: converter.Ground})
	if closing := b.Close(); closing != nil {
		t.Errorf("%v after %v", closing, err)
	}
	return v, err
}

// TestBadAnswers: what comes back, and the error.
func TestBadAnswers(t *testing.T) {
	for name, tc := range map[string]struct {
		ops  []i2ctest.IO
		want error
	}{
		"another maker":  {[]i2ctest.IO{read(0xfe, 0x12, 0x34), read(0xff, 0x22, 0x60)}, converter.ErrForeign},
		"another model":  {[]i2ctest.IO{read(0xfe, 0x54, 0x49), read(0xff, 0x22, 0x81)}, converter.ErrForeign},
		"maker lost":     {[]i2ctest.IO{read(0xfe, 0xff, 0xff), read(0xff, 0x22, 0x60)}, converter.ErrForeign},
		"model lost":     {[]i2ctest.IO{read(0xfe, 0x54, 0x49), read(0xff, 0xff, 0xff)}, converter.ErrForeign},
		"undriven":       {[]i2ctest.IO{read(0xfe, 0xff, 0xff), read(0xff, 0xff, 0xff)}, converter.ErrNoAnswer},
		"old conversion": {append(one226(read(1, 0, 1), shunt226...)[:5], read(0, 0b0100_0010, 0b0111_0001)), converter.ErrLostConfig},
		"reset":          {append(one226(read(1, 0, 0), shunt226...)[:5], read(0, 0x41, 0x27)), converter.ErrLostConfig},
		"gone":           {append(one226(read(1, 0xff, 0xff), shunt226...)[:5], read(0, 0xff, 0xff)), converter.ErrNoAnswer},
	} {
		t.Run(name, func(t *testing.T) {
			if v, err := play(t, &INA226, Shunt, tc.ops); !errors.Is(err, tc.want) {
				t.Errorf("got %v, %v, want %v", v, err, tc.want)
			}
		})
	}
}

// TestSecondReading: a chip that has been identified is not asked again who it is, and
// gets the other mark.
func TestSecondReading(t *testing.T) {
	other := []byte{0b0100_0010, 0b0111_0001} // VBUSCT 001
	b := &i2ctest.Playback{DontPanic: true, Ops: append(one226(read(1, 0x1f, 0x40), shunt226...),
		write(0, other...), read(6, 0x00, 0x08), read(1, 0x1f, 0x41), read(0, other...))}
	d, err := New(b, &INA226, &Opts{Addr: 0x40, Wait: noWait})
	if err != nil {
		t.Fatal(err)
	}
	s := converter.Setting{Channel: Shunt, Minus: converter.Ground}
	for _, want := range []float64{0.020, 0.0200025} {
		if v, err := d.Measure(t.Context(), s); err != nil || math.Abs(float64(v)/1e9-want) > 1e-9 {
			t.Errorf("got %v, %v, want %g V", v, err, want)
		}
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	s.Channel = numChannels
	if _, err := d.Measure(t.Context(), s); err == nil || errors.Is(err, converter.ErrBusStuck) {
		t.Errorf("a channel that does not exist: %v", err)
	}
	if !Family228.Channels[Shunt].Shunt || Family228.Channels[Bus].Shunt {
		t.Error("the shunt is not the channel for one")
	}
}

func TestNewRefuses(t *testing.T) {
	b := &i2ctest.Playback{DontPanic: true}
	for _, addr := range []uint16{0x3f, 0x50} {
		if _, err := New(b, &INA226, &Opts{Addr: addr}); err == nil {
			t.Errorf("address %#x: no error", addr)
		}
	}
	if _, err := New(nil, &INA226, &Opts{Addr: 0x40}); err == nil {
		t.Error("no bus: no error")
	}
	d, err := New(b, &INA228, &Opts{Addr: 0x4f})
	if err != nil {
		t.Fatal(err)
	}
	if d.Halt() != nil || !strings.HasPrefix(d.String(), "INA228{") {
		t.Errorf("%s, halt %v", d, d.Halt())
	}
}
