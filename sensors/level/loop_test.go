package level

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// rod is a single rod as the wiring guide would build it.
func rod() LoopOpts {
	return LoopOpts{ExcitationV: 3.3, PullOhm: 10e3, EndOhm: 10e3, Rods: []Rod{{5, 1e3}}, Tolerance: RodTolerance}
}

func ladder() LoopOpts {
	return LoopOpts{
		ExcitationV: 3.3, PullOhm: 10e3, EndOhm: 100e3, Tolerance: LadderTolerance,
		Rods: []Rod{{3, 22e3}, {13, 47e3}, {20, 100e3}},
	}
}

func mustLoop(t testing.TB, o LoopOpts) *Loop {
	t.Helper()
	l, err := NewLoop(o)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// TestRodByHand: voltages calculated by Ohm's law. Dry 3.3·10/(10+10);
// wet 3.3·0.9091/(10+0.9091) with 10 kΩ and 1 kΩ in parallel.
func TestRodByHand(t *testing.T) {
	l := mustLoop(t, rod())
	wet, dry := Span{5, CeilingMM}, Span{FloorMM, 5}
	for _, tc := range []struct {
		volts float64
		want  Span
		err   error
	}{
		{1.650, dry, nil},
		{0.275, wet, nil},
		{0.471, wet, nil}, // 1 kΩ of crust on the rod: 10 kΩ and 2 kΩ in parallel
		{3.300, Span{}, ErrOpen},
		{3.270, Span{}, ErrOpen}, // damp plug: 1 MΩ
		{0, Span{}, ErrShort},
		{-0.01, Span{}, ErrShort},
		{0.030, Span{}, ErrShort},
		{-0.1, Span{}, ErrImplausible}, // a foreign voltage
		{0.15, Span{}, ErrImplausible}, // between short and wet
		{1.0, Span{}, ErrImplausible},  // between wet and dry: a drying film
		{2.5, Span{}, ErrImplausible},  // between dry and broken: a corroded clamp
		{3.5, Span{}, ErrImplausible},  // more than the excitation
		{5, Span{}, ErrImplausible},
		{math.NaN(), Span{}, ErrImplausible},
		{math.Inf(1), Span{}, ErrImplausible},
		{math.Inf(-1), Span{}, ErrImplausible},
	} {
		if got, err := l.Read(tc.volts); got != tc.want || !errors.Is(err, tc.err) {
			t.Errorf("%g V: got %v, %v, want %v, %v", tc.volts, got, err, tc.want, tc.err)
		}
	}
}

// built is a real loop: resistors with tolerances, a path through the electrolyte, a
// supply with an error.
type built struct {
	supplyV, pull, end float64
	rods               []float64 // with the electrolyte
}

// build draws a random value for every part within its tolerance.
func build(t *rapid.T, o LoopOpts, tolerance float64) built {
	off := rapid.Float64Range(1-tolerance, 1+tolerance)
	b := built{
		supplyV: o.ExcitationV * rapid.Float64Range(1-SupplyTolerance, 1+SupplyTolerance).Draw(t, "supply"),
		pull:    o.PullOhm * off.Draw(t, "pull"),
		end:     o.EndOhm * off.Draw(t, "end"),
	}
	for _, r := range o.Rods {
		path := rapid.Float64Range(0, 1000).Draw(t, "electrolyte")
		b.rods = append(b.rods, r.SeriesOhm*off.Draw(t, "series")+path)
	}
	return b
}

// volts returns the node's voltage with some rods wet.
func (b built) volts(pattern uint) float64 {
	ohm := b.end
	for i, r := range b.rods {
		if pattern>>i&1 != 0 {
			ohm = ohm * r / (ohm + r)
		}
	}
	return b.supplyV * ohm / (b.pull + ohm)
}

// over returns the node's voltage with a resistance in place of the probe.
func (b built) over(ohm float64) float64 { return b.supplyV * ohm / (b.pull + ohm) }

// TestRodAsBuilt: with resistors of ±5 % and 0 to 1 kΩ of electrolyte every state is
// read correctly.
func TestRodAsBuilt(t *testing.T) {
	o := rod()
	l := mustLoop(t, o)
	rapid.Check(t, func(t *rapid.T) {
		b := build(t, o, 0.05)
		if got, err := l.Read(b.volts(0)); err != nil || got != (Span{FloorMM, 5}) {
			t.Fatalf("dry reads as %v, %v", got, err)
		}
		if got, err := l.Read(b.volts(1)); err != nil || got != (Span{5, CeilingMM}) {
			t.Fatalf("wet reads as %v, %v", got, err)
		}
		if got, err := l.Read(b.over(rapid.Float64Range(1e6, 1e12).Draw(t, "leak"))); !errors.Is(err, ErrOpen) {
			t.Fatalf("broken reads as %v, %v", got, err)
		}
		if got, err := l.Read(b.over(rapid.Float64Range(0, 100).Draw(t, "touch"))); !errors.Is(err, ErrShort) {
			t.Fatalf("short reads as %v, %v", got, err)
		}
	})
}

// TestLadderAsBuilt: with 1 % resistors every combination is read correctly.
func TestLadderAsBuilt(t *testing.T) {
	o := ladder()
	l := mustLoop(t, o)
	want := map[uint]Span{0b000: {FloorMM, 3}, 0b001: {3, 13}, 0b011: {13, 20}, 0b111: {20, CeilingMM}}
	rapid.Check(t, func(t *rapid.T) {
		b := build(t, o, 0.01)
		for pattern := range uint(8) {
			got, err := l.Read(b.volts(pattern))
			span, sense := want[pattern]
			switch {
			case sense && (err != nil || got != span):
				t.Fatalf("pattern %03b reads as %v, %v, want %v", pattern, got, err, span)
			case !sense && !errors.Is(err, ErrContradictory):
				t.Fatalf("pattern %03b reads as %v, %v, want contradictory", pattern, got, err)
			}
		}
		if got, err := l.Read(b.over(rapid.Float64Range(1e6, 1e12).Draw(t, "leak"))); !errors.Is(err, ErrOpen) {
			t.Fatalf("broken reads as %v, %v", got, err)
		}
	})
}

// TestBrokenIsNeverALevel: for every accepted circuit, built from parts of ±5 %, a
// broken wire or a short never reads as a level, and a level that is read matches the
// wet rods.
func TestBrokenIsNeverALevel(t *testing.T) {
	accepted := 0
	rapid.Check(t, func(t *rapid.T) {
		o := LoopOpts{
			ExcitationV: rapid.Float64Range(1, 5).Draw(t, "excitation"),
			PullOhm:     rapid.Float64Range(1e3, 100e3).Draw(t, "pull"),
			EndOhm:      rapid.Float64Range(1e3, 1e6).Draw(t, "end"),
			Tolerance:   0.05,
		}
		for i := range rapid.IntRange(1, MaxRods).Draw(t, "rods") {
			o.Rods = append(o.Rods, Rod{float64(i * 5), rapid.Float64Range(100, 500e3).Draw(t, "series")})
		}
		l, err := NewLoop(o)
		if err != nil {
			return
		}
		accepted++
		b := build(t, o, 0.05)
		for name, volts := range map[string]float64{
			"broken": b.over(rapid.Float64Range(1e6, 1e12).Draw(t, "leak")),
			"short":  b.over(rapid.Float64Range(0, 100).Draw(t, "touch")),
		} {
			if got, err := l.Read(volts); err == nil {
				t.Fatalf("%s reads as %v", name, got)
			}
		}
		for pattern := range uint(1) << len(o.Rods) {
			got, err := l.Read(b.volts(pattern))
			for i, r := range o.Rods {
				wet := pattern>>i&1 != 0
				if err == nil && (got.LowMM >= r.HeightMM) != wet {
					t.Fatalf("pattern %b reads as %v", pattern, got)
				}
			}
		}
	})
	if accepted == 0 {
		t.Error("no circuit was accepted: nothing was tested")
	}
}

// TestMoreVoltsNeverMeansMoreAcid: over the whole range, with everything else the
// same, a higher voltage means less conductance and never a higher level.
func TestMoreVoltsNeverMeansMoreAcid(t *testing.T) {
	for name, o := range map[string]LoopOpts{"rod": rod(), "ladder": ladder()} {
		l := mustLoop(t, o)
		low, seen := math.Inf(1), map[Span]bool{}
		for mV := -1000; mV <= 6000; mV++ {
			got, err := l.Read(float64(mV) / 1000)
			if err != nil {
				continue
			}
			seen[got] = true
			if got.LowMM > low {
				t.Errorf("%s: %d mV reads as %v, a lower voltage reads as %g mm", name, mV, got, low)
			}
			low = got.LowMM
		}
		if len(seen) != len(o.Rods)+1 {
			t.Errorf("%s: %d different levels were read, want %d", name, len(seen), len(o.Rods)+1)
		}
	}
}

func TestNewLoopRefuses(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(*LoopOpts)
		want   string
	}{
		{"no excitation", func(o *LoopOpts) { o.ExcitationV = 0 }, "excitation of 0"},
		{"negative pull", func(o *LoopOpts) { o.PullOhm = -1 }, "pull resistor of -1"},
		{"no end", func(o *LoopOpts) { o.EndOhm = math.NaN() }, "end resistor of NaN"},
		{"no rods", func(o *LoopOpts) { o.Rods = nil }, "0 rods"},
		{"too many rods", func(o *LoopOpts) { o.Rods = make([]Rod, 5) }, "5 rods"},
		{"no series", func(o *LoopOpts) { o.Rods[1].SeriesOhm = 0 }, "rod 2: series resistor of 0"},
		{"upside down", func(o *LoopOpts) { o.Rods[1].HeightMM = 2 }, "rod 2: height of 2 mm is not above rod 1"},
		{"no height", func(o *LoopOpts) { o.Rods[2].HeightMM = math.NaN() }, "rod 3: height of NaN mm"},
		{"silly tolerance", func(o *LoopOpts) { o.Tolerance = 0.5 }, "tolerance of 0.5"},
		{"same resistors", func(o *LoopOpts) { o.Rods[1].SeriesOhm = 22e3 }, "rod 1 wet and rod 2 wet cannot be told apart"},
		{"dry like broken", func(o *LoopOpts) { o.EndOhm = 5e6 }, "a broken wire cannot be told apart"},
		{"wet like short", func(o *LoopOpts) { o.Rods = []Rod{{5, 47}} }, "a short cannot be told apart"},
	} {
		o := ladder()
		tc.change(&o)
		if _, err := NewLoop(o); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: got %v, want %q", tc.name, err, tc.want)
		}
	}
}

// TestTallCell: rods beyond FloorMM or CeilingMM still give bounds in order.
func TestTallCell(t *testing.T) {
	o := rod()
	o.Rods[0].HeightMM = 150
	if got, err := mustLoop(t, o).Read(0.275); err != nil || got != (Span{150, 150}) {
		t.Errorf("wet rod at 150 mm: got %v, %v", got, err)
	}
	o.Rods[0].HeightMM = -80
	if got, err := mustLoop(t, o).Read(1.65); err != nil || got != (Span{-80, -80}) {
		t.Errorf("dry rod at -80 mm: got %v, %v", got, err)
	}
}

func TestReadDoesNotAllocate(t *testing.T) {
	l := mustLoop(t, ladder())
	if n := testing.AllocsPerRun(100, func() {
		for v := -0.5; v < 4; v += 0.05 {
			_, _ = l.Read(v)
		}
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}
