package level_test

import (
	"encoding/binary"
	"math"
	"testing"

	"bayward/sensors/level"
)

// counts has a converter's count, 16 bits, as the voltage of its input, for one of its
// six ranges.
func counts(raw int16, gain byte) float64 {
	ranges := [...]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}
	return float64(raw) / 32768 * ranges[int(gain)%len(ranges)]
}

// settingsOf makes a probe's settings of bytes, two for each, within what a
// configuration may give or beyond it.
func settingsOf(k level.Kind, raw []byte) (s level.Settings) {
	next := func(low, high float64) float64 {
		if len(raw) < 2 {
			return (low + high) / 2
		}
		x := float64(binary.LittleEndian.Uint16(raw)) / 60000 // a little more than 1
		raw = raw[2:]
		return low + x*(high-low)
	}
	for _, key := range k.Keys() {
		*key.Of(&s) = next(key.Low, key.High)
	}
	for range k.Rods().Most {
		if len(raw) < 4 {
			break
		}
		s.Rods = append(s.Rods, level.Rod{HeightMM: next(-40, 60), SeriesOhm: next(100, 50000)})
	}
	return s
}

// signalOf makes a signal of counts, six and one.
func signalOf(raw []byte, gain byte) *level.Signal {
	next := func() float64 {
		if len(raw) < 2 {
			return 0
		}
		v := counts(int16(binary.LittleEndian.Uint16(raw)), gain)
		raw = raw[2:]
		return v
	}
	s := &level.Signal{Volts: next()}
	for _, p := range []*level.Pulse{&s.Forward, &s.Reverse} {
		*p = level.Pulse{ProbeV: next(), ReferenceV: next(), RestV: next()}
	}
	return s
}

// spoiled are signals with one voltage that is none.
func spoiled(s *level.Signal) (all []*level.Signal) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		one, two := *s, *s
		one.Volts = bad
		two.Forward.ProbeV = bad
		all = append(all, &one, &two)
	}
	return all
}

// FuzzRead reads any counts of a converter, at any of its ranges, by any probe that can
// be configured. What it shows as a level is one: two numbers in order, no deeper and
// no taller than a cell, and from a kind with rods only heights of its rods. What is
// not a number is none, and neither is a wire that is broken or shorted.
func FuzzRead(f *testing.F) {
	wet := []byte{0, 0, 0x20, 0x12, 0x80, 0x2a, 0x50, 0, 0xe0, 0xed, 0x80, 0xd5, 0xb0, 0xff}
	f.Add(byte(0), []byte{0, 128, 0, 64, 0, 128, 0, 128, 0, 100, 0, 100}, wet, byte(1))
	f.Add(byte(1), []byte{0, 128, 0, 64, 0, 128, 0, 128, 0, 100, 0, 100, 0, 120, 0, 120}, wet, byte(0))
	f.Add(byte(2), []byte{0, 10, 0, 20, 0, 200, 0, 0}, wet, byte(2))
	f.Add(byte(3), []byte{}, []byte{0, 128}, byte(1))
	f.Fuzz(func(t *testing.T, kind byte, settings, raw []byte, gain byte) {
		k := level.Kinds()[int(kind)%len(level.Kinds())]
		s := settingsOf(k, settings)
		probe, err := level.New(k, s)
		if err != nil {
			return
		}
		signal := signalOf(raw, gain)
		for _, bad := range spoiled(signal) {
			if span, err := probe.Read(bad); err == nil && (k.Pulses() != level.NoPulses || bad.Volts != signal.Volts) {
				t.Fatalf("%s: %+v reads as %+v", k, bad, span)
			}
		}
		span, err := probe.Read(signal)
		if err != nil {
			return
		}
		if !(span.LowMM <= span.HighMM) || math.IsInf(span.LowMM, 0) || math.IsInf(span.HighMM, 0) {
			t.Fatalf("%s %+v: %+v reads as %+v", k, s, signal, span)
		}
		if !k.Measures() {
			onRods(t, &s, span)
		}
	})
}

// onRods fails when a span of a probe with rods does not begin and end at two
// neighbours of them, or at no bound.
func onRods(t *testing.T, s *level.Settings, span level.Span) {
	t.Helper()
	var heights []float64
	for _, r := range s.Rods {
		heights = append(heights, r.HeightMM+s.OffsetMM)
	}
	floor, ceiling := min(level.FloorMM, heights[0]), max(level.CeilingMM, heights[len(heights)-1])
	heights = append(append([]float64{floor}, heights...), ceiling)
	for i := 1; i < len(heights); i++ {
		if span.LowMM == heights[i-1] && span.HighMM == heights[i] {
			return
		}
	}
	t.Fatalf("%+v is between no two neighbours of %v", span, heights)
}
