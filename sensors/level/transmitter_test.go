package level

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestNE43: the bands of NAMUR NE 43 (measurement 3.8 to 20.5 mA, failure up to
// 3.6 mA and from 21.0 mA), across 100 Ω.
func TestNE43(t *testing.T) {
	probe, err := NewTransmitter(Transmitter{ShuntOhm: 100, LowMM: -10, HighMM: 30})
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		mA, wantMM float64
		want       error
	}{
		{0, 0, ErrOpen},
		{-0.05, 0, ErrOpen},
		{3.5, 0, ErrOpen},
		{3.5999, 0, ErrOpen},
		{3.61, 0, ErrImplausible},
		{3.79, 0, ErrImplausible},
		{3.8001, -10.5, nil},
		{4, -10, nil},
		{12, 10, nil},
		{20, 30, nil},
		{20.4999, 31.25, nil},
		{20.51, 0, ErrImplausible},
		{20.99, 0, ErrImplausible},
		{21.001, 0, ErrOverRange},
		{22, 0, ErrOverRange},
		{-12, 0, ErrImplausible},
		{math.NaN(), 0, ErrImplausible},
		{math.Inf(1), 0, ErrOverRange},
		{math.Inf(-1), 0, ErrImplausible},
	} {
		got, err := probe.Read(&Signal{Volts: tc.mA / 1000 * 100})
		if !errors.Is(err, tc.want) {
			t.Errorf("%g mA: got %v, want %v", tc.mA, err, tc.want)
		}
		if err == nil && (math.Abs(got.LowMM-tc.wantMM) > 0.001 || got.LowMM != got.HighMM) {
			t.Errorf("%g mA: got %v, want %g mm", tc.mA, got, tc.wantMM)
		}
	}
}

// TestSignalRoundTrip: a level sent as a current comes back as that level.
func TestSignalRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-50, 0).Draw(t, "low")
		high := low + rapid.Float64Range(1, 150).Draw(t, "span")
		shunt := rapid.Float64Range(10, 250).Draw(t, "shunt")
		probe, err := NewTransmitter(Transmitter{shunt, low, high})
		if err != nil {
			t.Fatal(err)
		}
		mm := rapid.Float64Range(low, high).Draw(t, "level")
		amperes := 0.004 + 0.016*(mm-low)/(high-low)
		if got, err := probe.Read(&Signal{Volts: amperes * shunt}); err != nil || math.Abs(got.LowMM-mm) > 1e-6 {
			t.Fatalf("%g mm comes back as %v, %v", mm, got, err)
		}
	})
}

func TestNewTransmitterRefuses(t *testing.T) {
	for _, bad := range []Transmitter{{0, 0, 1}, {-1, 0, 1}, {math.NaN(), 0, 1}, {100, 5, 5}, {100, 0, math.NaN()}, {100, 0, math.Inf(1)}} {
		if _, err := NewTransmitter(bad); err == nil {
			t.Errorf("%+v: no error", bad)
		}
	}
}

// TestFailureSignal: the resistor that the walk asks for makes a failure of every
// transmitter loop of the wiring guide, and puts no more than the converter's supply
// on the input. A short would do neither: it puts the loop's whole supply there.
func TestFailureSignal(t *testing.T) {
	s := Settings{ShuntOhm: 100, LowMM: -20, HighMM: 30}
	in := FourTwentyMA.StandIn(&s)
	for _, loop := range []struct{ supplyV, limitOhm float64 }{{24, 220}, {21.6, 220}, {26.4, 220}, {24, 0}} {
		amps := loop.supplyV / (loop.limitOhm + in.Ohm + s.ShuntOhm)
		volts := amps * s.ShuntOhm
		if volts < 2.1 || volts > 3.3 || amps*amps*in.Ohm > 1 {
			t.Errorf("%+v: %.1f mA, %.2f V at the input, %.2f W in %g ohm", loop, 1000*amps, volts, amps*amps*in.Ohm, in.Ohm)
		}
		if loop.limitOhm > 0 && volts > in.HighV {
			t.Errorf("%+v: the walk takes %.2f V for a short", loop, volts)
		}
	}
	if in.Ohm != 680 {
		t.Errorf("%g ohm is not the resistor of the parts list", in.Ohm)
	}
	if got := SingleRod.StandIn(&Settings{ReferenceOhm: 10e3}); got.Ohm != 0 || got.HighV > 0.3 {
		t.Errorf("rods: %+v", got)
	}
}
