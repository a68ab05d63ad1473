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
	return LoopOpts{ReferenceOhm: 10e3, EndOhm: 10e3, Rods: []Rod{{5, 1e3}}, Tolerance: RodTolerance}
}

func ladder() LoopOpts {
	return LoopOpts{
		ReferenceOhm: 10e3, EndOhm: 100e3, Tolerance: LadderTolerance,
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

// answer is what a probe of ohm with an electrode voltage of its own answers to pulses
// of ±3.3 V through 10 kΩ and a reference of 10 kΩ: Ohm's law. The capacitor in series
// takes the electrodes' voltage. polarised is what each pulse leaves behind.
func answer(ohm, ownV, polarisedV float64) *Signal {
	amps := 3.3 / (20e3 + ohm)
	probeV := amps * ohm
	if math.IsInf(ohm, 1) {
		amps, probeV = 0, 3.3
	}
	return &Signal{
		Forward: Pulse{ownV + probeV, amps * 10e3, ownV + polarisedV},
		Reverse: Pulse{ownV - probeV, -amps * 10e3, ownV - polarisedV},
	}
}

// TestRodByHand: resistances by Ohm's law. Dry 10 kΩ; wet 10 kΩ and 1 kΩ in parallel.
func TestRodByHand(t *testing.T) {
	l := mustLoop(t, rod())
	wet, dry := Span{5, CeilingMM}, Span{FloorMM, 5}
	const own, left = 0.03, 0.012 // V
	for name, tc := range map[string]struct {
		signal *Signal
		want   Span
		err    error
	}{
		"dry":                          {answer(10e3, 0, 0), dry, nil},
		"wet":                          {answer(909, own, left), wet, nil},
		"wet, another alloy":           {answer(909, -0.6, left), wet, nil},
		"wet, no voltage of their own": {answer(909, 0, left), wet, nil},
		"wet, 900 ohm of crust":        {answer(1597, own, left), wet, nil},
		"broken":                       {answer(math.Inf(1), 0, 0), Span{}, ErrOpen},
		"broken, damp plug":            {answer(1.1e6, 0, 0), Span{}, ErrOpen},
		"short":                        {answer(0, 0, 0), Span{}, ErrShort},
		"short of 90 ohm":              {answer(90, 0, 0), Span{}, ErrShort},
		"between short and wet":        {answer(500, own, left), Span{}, ErrFilm},
		"film or crust":                {answer(4e3, own, left), Span{}, ErrFilm},
		"corroded clamp":               {answer(30e3, 0, 0), Span{}, ErrCorroded},
		"metal bridges the rod":        {answer(909, 0, 0), Span{}, ErrNoBackVoltage},
		"lead dioxide against lead":    {answer(909, 2.05, left), Span{}, ErrBackVoltage},
		"film too thin to conduct":     {answer(10e3, 0.3, 0), Span{}, ErrFilm},
		"no pulse":                     {answer(909, own, left).scaled(0.01), Span{}, ErrNoPulse},
		"nothing at all":               {&Signal{}, Span{}, ErrNoPulse},
		"leak to the pack":             {answer(909, own, left).leaking(3e-4), Span{}, ErrForeign},
		"negative resistance":          {answer(-909, own, left), Span{}, ErrImplausible},
	} {
		if got, err := l.Read(tc.signal); got != tc.want || !errors.Is(err, tc.err) {
			t.Errorf("%s: got %v, %v, want %v, %v", name, got, err, tc.want, tc.err)
		}
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for field := range 6 {
			s := answer(909, own, left)
			*s.fields()[field] = bad
			if got, err := l.Read(s); err == nil {
				t.Errorf("%g in field %d reads as %v", bad, field, got)
			}
		}
	}
}

func (s *Signal) fields() []*float64 {
	all := s.voltages()
	return all[1:] // without the voltage of a probe that has no pulses
}

func (s *Signal) scaled(by float64) *Signal {
	for _, f := range s.fields() {
		*f *= by
	}
	return s
}

// leaking adds a direct current through the reference resistor.
func (s *Signal) leaking(amps float64) *Signal {
	s.Forward.ReferenceV += amps * 10e3
	s.Reverse.ReferenceV += amps * 10e3
	return s
}

// TestExchanged: with any two of the three inputs exchanged, or the two pins, or all of
// them turned round, a probe shows no level, whatever its resistors are. One that is dry
// would else have the ratio of a wet one: reference² / end resistor.
func TestExchanged(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := LoopOpts{ReferenceOhm: 10e3, EndOhm: rapid.Float64Range(11e3, 200e3).Draw(t, "end"), Tolerance: RodTolerance}
		o.Rods = []Rod{{5, rapid.Float64Range(1e3, 50e3).Draw(t, "series")}}
		l, err := NewLoop(o)
		if err != nil {
			return
		}
		ohm := o.EndOhm
		if rapid.Bool().Draw(t, "wet") {
			ohm = ohm * o.Rods[0].SeriesOhm / (ohm + o.Rods[0].SeriesOhm)
		}
		order := rapid.SampledFrom([][3]int{{1, 0, 2}, {0, 2, 1}, {2, 1, 0}, {1, 2, 0}, {2, 0, 1}}).Draw(t, "inputs")
		s := &Signal{}
		for sign, p := range map[float64]*Pulse{1: &s.Forward, -1: &s.Reverse} {
			amps := sign * 3.3 / (20e3 + ohm)
			at := [3]float64{amps * (10e3 + ohm), amps * 10e3, 0} // against the end of the reference
			a0, a1, a3 := at[order[0]], at[order[1]], at[order[2]]
			*p = Pulse{a0 - a1, a1 - a3, sign * 0.02}
		}
		if got, err := l.Read(s); err == nil {
			t.Fatalf("inputs %v of %g ohm read as %v", order, ohm, got)
		}
	})
}

func TestMean(t *testing.T) {
	one, two := answer(909, 0.02, 0.01), answer(909, 0.04, 0.03)
	one.Volts, two.Volts = 1, 2
	got := Mean([]Signal{*one, *two})
	for i, v := range got.voltages() {
		if want := (*one.voltages()[i] + *two.voltages()[i]) / 2; math.Abs(*v-want) > 1e-12 {
			t.Errorf("voltage %d: %g, want %g", i, *v, want)
		}
	}
	if got.Volts != 1.5 {
		t.Errorf("%g V", got.Volts)
	}
}

// built is a real loop: resistors with tolerances, a path through the electrolyte, a
// supply with an error, electrodes with voltages.
type built struct {
	supply, reference, end float64
	rods                   []float64 // with the electrolyte
	ownV, leftV            float64
}

// build draws a random value for every part within its tolerance.
func build(t *rapid.T, o LoopOpts, tolerance float64) built {
	off := rapid.Float64Range(1-tolerance, 1+tolerance)
	b := built{
		supply:    rapid.Float64Range(0.85, 1.1).Draw(t, "supply"),
		reference: rapid.Float64Range(0.99, 1.01).Draw(t, "reference"),
		end:       o.EndOhm * off.Draw(t, "end"),
		ownV:      rapid.Float64Range(-0.8, 0.8).Draw(t, "electrodes"), leftV: rapid.Float64Range(0.002, 0.05).Draw(t, "left behind"),
	}
	for _, r := range o.Rods {
		path := rapid.Float64Range(0, 1000).Draw(t, "electrolyte")
		b.rods = append(b.rods, r.SeriesOhm*off.Draw(t, "series")+path)
	}
	return b
}

// signal returns the answer with some rods wet.
func (b built) signal(pattern uint) *Signal {
	ohm, wet := b.end, 0.0
	for i, r := range b.rods {
		if pattern>>i&1 != 0 {
			ohm, wet = ohm*r/(ohm+r), 1
		}
	}
	return b.over(ohm, wet)
}

// over returns the answer of a resistance in place of the probe.
func (b built) over(ohm, wet float64) *Signal {
	s := answer(ohm, wet*b.ownV, wet*b.leftV).scaled(b.supply)
	s.Forward.ReferenceV *= b.reference
	s.Reverse.ReferenceV *= b.reference
	return s
}

// TestRodAsBuilt: with resistors of ±5 %, 0 to 1 kΩ of electrolyte, a supply of -15 to
// +10 % and any electrodes every state is read correctly.
func TestRodAsBuilt(t *testing.T) {
	o := rod()
	l := mustLoop(t, o)
	rapid.Check(t, func(t *rapid.T) {
		b := build(t, o, 0.05)
		if got, err := l.Read(b.signal(0)); err != nil || got != (Span{FloorMM, 5}) {
			t.Fatalf("dry reads as %v, %v", got, err)
		}
		if got, err := l.Read(b.signal(1)); err != nil || got != (Span{5, CeilingMM}) {
			t.Fatalf("wet reads as %v, %v", got, err)
		}
		if got, err := l.Read(b.over(rapid.Float64Range(1e6, 1e12).Draw(t, "leak"), 0)); !errors.Is(err, ErrOpen) {
			t.Fatalf("broken reads as %v, %v", got, err)
		}
		if got, err := l.Read(b.over(rapid.Float64Range(0, 100).Draw(t, "touch"), 0)); !errors.Is(err, ErrShort) {
			t.Fatalf("short reads as %v, %v", got, err)
		}
		if got, err := l.Read(b.over(b.end*b.rods[0]/(b.end+b.rods[0]), 0)); !errors.Is(err, ErrNoBackVoltage) {
			t.Fatalf("a bridge of metal reads as %v, %v", got, err)
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
			got, err := l.Read(b.signal(pattern))
			span, sense := want[pattern]
			switch {
			case sense && (err != nil || got != span):
				t.Fatalf("pattern %03b reads as %v, %v, want %v", pattern, got, err, span)
			case !sense && !errors.Is(err, ErrContradictory):
				t.Fatalf("pattern %03b reads as %v, %v, want contradictory", pattern, got, err)
			}
		}
		if got, err := l.Read(b.over(rapid.Float64Range(1e6, 1e12).Draw(t, "leak"), 0)); !errors.Is(err, ErrOpen) {
			t.Fatalf("broken reads as %v, %v", got, err)
		}
	})
}

// TestBrokenIsNeverALevel: for every accepted circuit, built from parts of ±5 %, a
// broken wire or a short never reads as a level, and a level that is read matches the
// wet rods.
func TestBrokenIsNeverALevel(t *testing.T) {
	accepted := 0
	broken := func(t *rapid.T) {
		o := LoopOpts{ReferenceOhm: 10e3, EndOhm: rapid.Float64Range(1e3, 1e6).Draw(t, "end"), Tolerance: 0.05}
		for i := range rapid.IntRange(1, MaxRods).Draw(t, "rods") {
			o.Rods = append(o.Rods, Rod{float64(i * 5), rapid.Float64Range(100, 500e3).Draw(t, "series")})
		}
		l, err := NewLoop(o)
		if err != nil {
			return
		}
		accepted++
		b := build(t, o, 0.05)
		for name, signal := range map[string]*Signal{
			"broken": b.over(rapid.Float64Range(1e6, 1e12).Draw(t, "leak"), 1),
			"short":  b.over(rapid.Float64Range(0, 100).Draw(t, "touch"), 1),
		} {
			if got, err := l.Read(signal); err == nil {
				t.Fatalf("%s reads as %v", name, got)
			}
		}
		for pattern := range uint(1) << len(o.Rods) {
			got, err := l.Read(b.signal(pattern))
			for i, r := range o.Rods {
				wet := pattern>>i&1 != 0
				if err == nil && (got.LowMM >= r.HeightMM) != wet {
					t.Fatalf("pattern %b reads as %v", pattern, got)
				}
			}
		}
	}
	for tries := 0; accepted == 0 && tries < 20; tries++ { // a short run of few circuits may have none that is accepted
		rapid.Check(t, broken)
	}
	if accepted == 0 {
		t.Error("no circuit was accepted: nothing was tested")
	}
}

// TestMoreOhmNeverMeansMoreAcid: over the whole range, with everything else the same, a
// higher resistance never means a higher level.
func TestMoreOhmNeverMeansMoreAcid(t *testing.T) {
	for name, o := range map[string]LoopOpts{"rod": rod(), "ladder": ladder()} {
		l := mustLoop(t, o)
		low, seen := math.Inf(1), map[Span]bool{}
		for ohm := 1.0; ohm < 1e7; ohm *= 1.001 {
			got, err := l.Read(answer(ohm, 0.01, 0.01))
			if err != nil {
				continue
			}
			seen[got] = true
			if got.LowMM > low {
				t.Errorf("%s: %g ohm reads as %v, a lower resistance reads as %g mm", name, ohm, got, low)
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
		{"no reference", func(o *LoopOpts) { o.ReferenceOhm = 0 }, "reference resistor of 0"},
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
	if got, err := mustLoop(t, o).Read(answer(909, 0, 0.01)); err != nil || got != (Span{150, 150}) {
		t.Errorf("wet rod at 150 mm: got %v, %v", got, err)
	}
	o.Rods[0].HeightMM = -80
	if got, err := mustLoop(t, o).Read(answer(10e3, 0, 0)); err != nil || got != (Span{-80, -80}) {
		t.Errorf("dry rod at -80 mm: got %v, %v", got, err)
	}
}

func TestReadDoesNotAllocate(t *testing.T) {
	l := mustLoop(t, ladder())
	s := answer(15e3, 0.01, 0.01)
	if n := testing.AllocsPerRun(100, func() {
		for range 20 {
			s.Forward.ProbeV *= 1.1
			_, _ = l.Read(s)
		}
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}
