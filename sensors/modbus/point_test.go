package modbus

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	protocol "github.com/simonvetter/modbus"
	"pgregory.net/rapid"
)

// device is a Master with a table of words, and a clock that only waits move.
type device struct {
	now    time.Duration
	words  map[uint16]uint16
	err    error // of each transaction
	dialed int
	closed int
	asked  []uint16
	refuse error // of the next dials
}

func (d *device) Read(_ uint8, _ string, address, count uint16) ([]uint16, error) {
	d.asked = append(d.asked, address)
	if d.err != nil {
		return nil, d.err
	}
	var out []uint16
	for i := range count {
		out = append(out, d.words[address+i])
	}
	return out, nil
}

func (d *device) Close() error { d.closed++; return nil }

func (d *device) line() *Line {
	return NewLine(LineOpts{
		Name: "meters", Quiet: 300 * time.Millisecond, Now: func() time.Duration { return d.now },
		Dial: func() (Master, error) { d.dialed++; return d, d.refuse },
		Wait: func(ctx context.Context, w time.Duration) error { d.now += w; return ctx.Err() },
	})
}

var wide = Place{Unit: 3, Table: Holding, Address: 10, Type: Uint16, Scale: 1, Low: -1e12, High: 1e12}

// TestValues: what words mean. IEEE 754 binary32 examples: 25.0 is 41C80000, 123.456 is
// 42F6E979 (the standard's format, worked out by hand and in many textbooks); the words of
// the application protocol's example in section 6.3, 022Bh is 555.
func TestValues(t *testing.T) {
	for name, tc := range map[string]struct {
		change func(*Place)
		words  []uint16
		want   float64
	}{
		"published: 6.3, register 108":  {func(*Place) {}, []uint16{0x022b}, 555},
		"published: 6.3, register 110":  {func(*Place) {}, []uint16{0x0064}, 100},
		"arithmetic: negative":          {func(p *Place) { p.Type = Int16 }, []uint16{0xff9c}, -100},
		"arithmetic: two words":         {func(p *Place) { p.Type = Uint32 }, []uint16{0x0001, 0x86a0}, 100000},
		"arithmetic: low word first":    {func(p *Place) { p.Type, p.LowWordFirst = Uint32, true }, []uint16{0x86a0, 0x0001}, 100000},
		"arithmetic: negative, 32 bits": {func(p *Place) { p.Type = Int32 }, []uint16{0xffff, 0xff9c}, -100},
		"memory: IEEE 754, 25.0":        {func(p *Place) { p.Type = Float32 }, []uint16{0x41c8, 0x0000}, 25},
		"memory: IEEE 754, 123.456":     {func(p *Place) { p.Type = Float32 }, []uint16{0x42f6, 0xe979}, 123.456},
		"memory: the same, turned":      {func(p *Place) { p.Type, p.LowWordFirst = Float32, true }, []uint16{0xe979, 0x42f6}, 123.456},
		"arithmetic: zero, float":       {func(p *Place) { p.Type = Float32 }, []uint16{0, 0}, 0},
		"arithmetic: bit 5":             {func(p *Place) { p.Type, p.Bit = Bit, 5 }, []uint16{0x0020}, 1},
		"arithmetic: not bit 5":         {func(p *Place) { p.Type, p.Bit = Bit, 5 }, []uint16{0xffdf}, 0},
		"arithmetic: tenths from -40":   {func(p *Place) { p.Scale, p.Zero = 0.1, 400 }, []uint16{650}, 25},
		"arithmetic: a turned contact":  {func(p *Place) { p.Type, p.Scale, p.Zero = Bit, -1, 1 }, []uint16{0}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			d := &device{words: map[uint16]uint16{}}
			for i, w := range tc.words {
				d.words[10+uint16(i)] = w
			}
			p := wide
			tc.change(&p)
			v, age, err := NewPoint(d.line(), p).Read(t.Context())
			if err != nil || age != 0 || math.Abs(v-tc.want) > 1e-5 {
				t.Errorf("got %v, %v, %v, want %v", v, age, err, tc.want)
			}
		})
	}
}

// TestFaultsOfAValue: what is not a measurement.
func TestFaultsOfAValue(t *testing.T) {
	for name, tc := range map[string]struct {
		change func(*Place)
		words  []uint16
		want   error
	}{
		"fault value":               {func(p *Place) { p.FaultValues = []float64{0xffff} }, []uint16{0xffff}, ErrDevice},
		"fault value, signed":       {func(p *Place) { p.Type, p.FaultValues = Int16, []float64{-32768} }, []uint16{0x8000}, ErrDevice},
		"not a number":              {func(p *Place) { p.Type = Float32 }, []uint16{0x7fc0, 0}, ErrDevice},
		"infinite":                  {func(p *Place) { p.Type = Float32 }, []uint16{0x7f80, 0}, ErrImplausible},
		"above":                     {func(p *Place) { p.High = 100 }, []uint16{101}, ErrImplausible},
		"below":                     {func(p *Place) { p.Low = 100 }, []uint16{99}, ErrImplausible},
		"words of 25.0 exchanged":   {func(p *Place) { p.Type = Float32 }, []uint16{0x0000, 0x41c8}, ErrImplausible},
		"words of 123.4 exchanged":  {func(p *Place) { p.Type, p.High = Float32, 200 }, []uint16{0xcccd, 0x42f6}, ErrImplausible},
		"words of 12000 exchanged":  {func(p *Place) { p.Type, p.High = Uint32, 60000 }, []uint16{12000, 0}, ErrImplausible},
		"status bad":                {func(p *Place) { p.Status = &Status{20, 0} }, []uint16{5}, ErrDevice},
		"at the lower limit":        {func(p *Place) { p.Low = 99 }, []uint16{99}, nil},
		"at the upper limit":        {func(p *Place) { p.High = 100 }, []uint16{100}, nil},
		"status good":               {func(p *Place) { p.Status = &Status{20, 7} }, []uint16{5}, nil},
		"a scale that is no number": {func(p *Place) { p.Scale = math.NaN() }, []uint16{5}, ErrImplausible},
	} {
		t.Run(name, func(t *testing.T) {
			d := &device{words: map[uint16]uint16{20: 7}}
			for i, w := range tc.words {
				d.words[10+uint16(i)] = w
			}
			p := wide
			p.Low, p.High = 0, 1e9
			tc.change(&p)
			v, _, err := NewPoint(d.line(), p).Read(t.Context())
			if !errors.Is(err, tc.want) || err != nil && (v != 0 || !strings.Contains(err.Error(), "modbus meters, unit 3, holding 10")) {
				t.Errorf("got %v, %v, want %v", v, err, tc.want)
			}
		})
	}
}

// TestSwappedWords: whatever number from 0.1 to 100 a device sends as a 32-bit float, in
// the wrong order its words are refused, or give a number that differs by so much that
// the comparison of the walk shows it. The share that is refused at once is printed.
func TestSwappedWords(t *testing.T) {
	refused, all := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		bits := math.Float32bits(rapid.Float32Range(0.1, 100).Draw(t, "value"))
		d := &device{words: map[uint16]uint16{10: uint16(bits), 11: uint16(bits >> 16)}}
		p := wide
		p.Type, p.Low, p.High = Float32, 0, 100
		_, _, err := NewPoint(d.line(), p).Read(t.Context())
		if all++; err != nil {
			refused++
		}
	})
	t.Logf("figure: floats in the wrong word order refused at once: %d of %d", refused, all)
	if refused*2 < all {
		t.Errorf("only %d of %d are refused", refused, all)
	}
}

// TestCounter: a counter that stands is found after its time, and one that moves again is
// believed.
func TestCounter(t *testing.T) {
	d := &device{words: map[uint16]uint16{10: 5, 20: 65535}}
	p := wide
	p.Counter = &Counter{20, 5 * time.Second}
	point := NewPoint(d.line(), p)
	read := func() error { _, _, err := point.Read(t.Context()); return err }
	for second := range 6 {
		d.now = time.Duration(second) * time.Second
		if err := read(); err != nil {
			t.Fatalf("second %d: %v", second, err)
		}
	}
	d.now += time.Second
	if err := read(); !errors.Is(err, ErrFrozen) {
		t.Errorf("stands for 6 s: %v", err)
	}
	d.words[20] = 0 // it wraps
	if err := read(); err != nil {
		t.Errorf("moves: %v", err)
	}
}

// TestAge: the age that a device knows is the value's.
func TestAge(t *testing.T) {
	d := &device{words: map[uint16]uint16{10: 5, 20: 14}}
	p := wide
	p.Age = &Age{20, 500 * time.Millisecond}
	if v, age, err := NewPoint(d.line(), p).Read(t.Context()); v != 5 || age != 7*time.Second || err != nil {
		t.Errorf("got %v, %v, %v", v, age, err)
	}
}

// TestLine: after a failure the line is closed, left alone as long as an answer may take,
// and opened again; a refusal leaves it open.
func TestLine(t *testing.T) {
	for _, tc := range []struct {
		err, want error
		reopens   bool
	}{
		{protocol.ErrRequestTimedOut, ErrNoAnswer, true},
		{protocol.ErrBadCRC, ErrCorrupted, true},
		{protocol.ErrShortFrame, ErrCorrupted, true},
		{protocol.ErrProtocolError, ErrCorrupted, true},
		{protocol.ErrBadUnitId, ErrOther, true},
		{errors.New("input/output error"), ErrLine, true},
		{protocol.ErrIllegalDataAddress, ErrRefused, false},
		{protocol.ErrIllegalFunction, ErrRefused, false},
		{protocol.ErrServerDeviceBusy, ErrBusy, false},
		{protocol.ErrServerDeviceFailure, ErrDevice, false},
		{protocol.ErrGWTargetFailedToRespond, ErrNoAnswer, false},
	} {
		d := &device{words: map[uint16]uint16{10: 5}, err: tc.err}
		point := NewPoint(d.line(), wide)
		if _, _, err := point.Read(t.Context()); !errors.Is(err, tc.want) || !errors.Is(err, tc.err) {
			t.Errorf("%v: got %v, want %v", tc.err, err, tc.want)
		}
		d.err = nil
		from := d.now
		if v, _, err := point.Read(t.Context()); v != 5 || err != nil {
			t.Errorf("%v, repaired: %v, %v", tc.err, v, err)
		}
		rested := d.now - from
		if (d.dialed == 2) != tc.reopens || (d.closed == 1) != tc.reopens || (rested == 300*time.Millisecond) != tc.reopens {
			t.Errorf("%v: opened %d times, closed %d times, rested %v", tc.err, d.dialed, d.closed, rested)
		}
	}
}

func TestLineThatCannotBeOpened(t *testing.T) {
	d := &device{refuse: errors.New("no such file or directory")}
	l := d.line()
	if _, _, err := NewPoint(l, wide).Read(t.Context()); !errors.Is(err, ErrLine) || !strings.Contains(err.Error(), "no such file") {
		t.Errorf("got %v", err)
	}
	d.refuse, d.words = nil, map[uint16]uint16{10: 5}
	if v, _, err := NewPoint(l, wide).Read(t.Context()); v != 5 || err != nil {
		t.Errorf("plugged in again: %v, %v", v, err)
	}
	if err := l.Halt(); err != nil || d.closed != 1 {
		t.Errorf("halt: %v, closed %d times", err, d.closed)
	}
	if err := l.Halt(); err != nil || d.closed != 1 {
		t.Errorf("halt twice: %v, closed %d times", err, d.closed)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, _, err := NewPoint(l, wide).Read(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("canceled: %v", err)
	}
}

// FuzzValue: no words give a value outside the limits.
func FuzzValue(f *testing.F) {
	f.Add(uint16(0x41c8), uint16(0), uint8(0))
	f.Add(uint16(0x7fc0), uint16(1), uint8(4))
	f.Fuzz(func(t *testing.T, a, b uint16, typ uint8) {
		types := []string{Uint16, Int16, Uint32, Int32, Float32, Bit}
		p := Point{Place: wide}
		p.Type, p.Low, p.High = types[int(typ)%len(types)], -20, 60
		words := []uint16{a, b}[:p.words()]
		if v, err := p.value(words); err == nil && !(v >= -20 && v <= 60) {
			t.Errorf("%s %04x reads as %v", p.Type, words, v)
		}
	})
}
