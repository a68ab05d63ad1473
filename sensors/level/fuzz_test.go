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

// FuzzRead reads any count of a converter, at any of its ranges, by any probe that can
// be configured. What it shows as a level is one: two numbers in order, no deeper and
// no taller than a cell, and from a kind with rods only heights of its rods. What is
// not a number is none, and neither is a wire that is broken or shorted.
func FuzzRead(f *testing.F) {
	f.Add(byte(0), []byte{0, 128, 0, 64, 0, 128, 0, 128, 0, 100, 0, 100}, int16(12000), byte(1))
	f.Add(byte(1), []byte{0, 128, 0, 64, 0, 128, 0, 128, 0, 100, 0, 100, 0, 120, 0, 120}, int16(-3), byte(0))
	f.Add(byte(2), []byte{0, 10, 0, 20, 0, 200, 0, 0}, int16(8000), byte(2))
	f.Add(byte(2), []byte{}, int16(math.MinInt16), byte(1))
	f.Fuzz(func(t *testing.T, kind byte, settings []byte, raw int16, gain byte) {
		k := level.Kinds()[int(kind)%len(level.Kinds())]
		s := settingsOf(k, settings)
		probe, err := level.New(k, s)
		if err != nil {
			return
		}
		for _, volts := range []float64{counts(raw, gain), float64(raw), math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300} {
			span, err := probe.Read(volts)
			if err != nil {
				continue
			}
			if math.IsNaN(volts) || math.IsInf(volts, 0) || volts < -0.1 {
				t.Fatalf("%s: %v V reads as %+v", k, volts, span)
			}
			if !(span.LowMM <= span.HighMM) || math.IsInf(span.LowMM, 0) || math.IsInf(span.HighMM, 0) {
				t.Fatalf("%s %+v: %v V reads as %+v", k, s, volts, span)
			}
			if !k.Measures() {
				onRods(t, &s, span)
			}
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
