package charge_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/charge"
)

// bulk begins a charge at the voltage of a reading, so that the next ticks of ten minutes are
// a mark each. The pack rested nearly full, so that no evidence must wait for the rest.
func (h *hands) bulk(v, a float64) *hands {
	none := 0.0
	if math.IsNaN(a) {
		none = a
	}
	if h.tr.Status().Charges == 0 {
		h.take(fullV, none).pass(50*time.Minute, 10*time.Minute)
	}
	h.take(v, a)
	h.tick(0)
	h.tick(time.Minute)
	h.tick(time.Minute)
	if math.IsNaN(a) { // a voltage is smoothed before it shows a charge
		h.tick(time.Minute)
		h.tick(time.Minute)
	}
	return h
}

// three is one value in each of three half hours.
type three [3]float64

func same(x float64) three { return three{x, x, x} }

// finish is nine marks: a value of each half hour, and by how far its three marks are off.
type finish struct {
	v, a       three
	offV, offA float64
	atC        float64 // 0: 25 °C
	blind, noC bool
	want       charge.Evidence // proven at the ninth mark
	pending    charge.Evidence
}

// runs returns the pack after some marks.
func (f *finish) runs(marks int) *charge.Status {
	h := newHands(func(c *charge.Config) { c.HasCurrent = !f.blind })
	if h.c = 25; f.atC != 0 {
		h.c = f.atC
	}
	if f.noC {
		h.c = math.NaN()
	}
	begins := 20.0
	if f.blind {
		begins = math.NaN()
	}
	h.bulk(f.v[0], begins)
	for k := range marks {
		// Within each half hour the marks lie differently, so that single readings half an
		// hour apart do not agree where these do not.
		off := []float64{0, -1, 1, 1, -1, 0, 1, 0, -1}[k]
		if h.v = f.v[k/3] + off*f.offV; !f.blind {
			h.a = f.a[k/3] + off*f.offA
		}
		h.tick(10 * time.Minute)
	}
	return h.tr.Status()
}

// TestAPlateau: three half hours in which nothing moves prove the pack full (TM
// 5-4320-258-12), if gassing explains the current. At 2.53 V and 25 °C three times the law
// of Schiffer et al. (2007) is 0.06 e^(11 * 0.30) = 1.63 A for each 100 Ah.
func TestAPlateau(t *testing.T) {
	const none, taper, voltage, tail = charge.NoEvidence, charge.SteadyTaper, charge.SteadyVoltage, charge.HeldTail
	for name, f := range map[string]finish{
		"a taper":                             {v: same(2.53), a: same(15), want: taper},
		"of a fortieth":                       {v: same(2.57), a: same(25), want: taper},
		"more is a finish":                    {v: same(2.57), a: same(25.1), want: voltage},
		"the current moves by a fifteenth":    {v: same(2.53), a: three{16, 15, 15}, want: taper},
		"by more":                             {v: same(2.53), a: three{16.2, 15, 15}},
		"it scatters":                         {v: same(2.53), a: same(15), offA: 1.95, want: taper},
		"it scatters more":                    {v: same(2.53), a: same(15), offA: 2.1},
		"a small one moves by C/1000":         {v: same(2.50), a: three{10.9, 10, 10}, want: taper},
		"a small one moves more":              {v: same(2.50), a: three{11.1, 10, 10}},
		"the voltage moves":                   {v: three{2.545, 2.53, 2.53}, a: same(15), want: taper},
		"it moves more":                       {v: three{2.548, 2.53, 2.53}, a: same(15)},
		"it moves step by step":               {v: three{2.548, 2.539, 2.53}, a: same(15), want: voltage},
		"by larger steps":                     {v: three{2.556, 2.543, 2.53}, a: same(15)},
		"upwards":                             {v: three{2.53, 2.539, 2.548}, a: same(15), want: voltage},
		"the voltage scatters":                {v: same(2.53), a: same(15), offV: 0.033, want: taper},
		"it scatters too much":                {v: same(2.53), a: same(15), offV: 0.035},
		"a finish that scatters":              {v: same(2.66), a: same(65), offV: 0.023, want: voltage},
		"a finish that scatters too much":     {v: same(2.66), a: same(65), offV: 0.025},
		"a finish of 10 A for each 100 Ah":    {v: same(2.70), a: same(100), want: voltage},
		"a bulk":                              {v: same(2.70), a: same(101)},
		"at 2.45 V":                           {v: three{2.470, 2.461, 2.452}, a: same(6), want: voltage},
		"below, the tail alone":               {v: three{2.465, 2.456, 2.447}, a: same(6), want: tail},
		"a taper at 2.34 V":                   {v: same(2.34), a: same(1.9), want: taper},
		"below the gassing voltage":           {v: same(2.32), a: same(1.9), want: tail},
		"the same, cold":                      {v: same(2.40), a: same(1.9), atC: 10, want: tail},
		"hot, more is explained":              {v: same(2.45), a: same(20), atC: 45, want: taper},
		"not explained":                       {v: same(2.45), a: same(20), pending: taper},
		"a finish not explained":              {v: same(2.44), a: same(25.5), pending: voltage},
		"one that moves by 2 mV":              {v: three{2.440, 2.442, 2.444}, a: same(25.5), pending: voltage},
		"that moves by 3 mV":                  {v: three{2.440, 2.443, 2.446}, a: same(25.5)},
		"of 8 A for each 100 Ah":              {v: same(2.49), a: same(80), pending: voltage},
		"of more":                             {v: same(2.49), a: same(81)},
		"old plates do not gas so much":       {v: same(2.44), a: same(50)},
		"not explained and slowly less":       {v: same(2.44), a: three{46.4, 45, 45}, pending: voltage},
		"not explained and less":              {v: same(2.44), a: three{47, 45, 45}},
		"not explained, below gassing":        {v: same(2.32), a: same(12)},
		"not explained, from gassing on":      {v: same(2.34), a: same(12), pending: taper},
		"not explained and not held":          {v: three{2.378, 2.369, 2.360}, a: same(9.5), pending: voltage},
		"not explained, neither of both":      {v: three{2.386, 2.373, 2.360}, a: same(9.5)},
		"voltage alone":                       {v: same(2.56), blind: true, want: voltage},
		"voltage alone, below 2.55 V":         {v: same(2.54), blind: true},
		"voltage alone, cold":                 {v: same(2.56), blind: true, atC: 20},
		"voltage alone, warm":                 {v: same(2.54), blind: true, atC: 30},
		"voltage alone, temperature unknown":  {v: same(2.56), blind: true, noC: true},
		"voltage alone, it moves by 4 mV":     {v: three{2.560, 2.5638, 2.5676}, blind: true, want: voltage},
		"voltage alone, it moves more":        {v: three{2.560, 2.5642, 2.5684}, blind: true},
		"voltage alone, it scatters by 16 mV": {v: same(2.57), blind: true, offV: 0.0078, want: voltage},
		"voltage alone, it scatters more":     {v: same(2.57), blind: true, offV: 0.0082},
	} {
		// From 2.55 V on three single readings do.
		if f.want == taper || f.want == voltage && (f.blind || f.v[0] < 2.55) {
			require.NotEqual(t, f.want, f.runs(8).Evidence, "%s: three half hours", name)
		}
		s := f.runs(9)
		require.Equal(t, f.want, s.Evidence, name)
		require.Equal(t, f.want != none, s.Full, name)
		if f.want == none && s.Pending != charge.FinishRise {
			require.Equal(t, f.pending, s.Pending, name)
		}
		if f.pending != none {
			require.Equal(t, charge.DrawsTooMuch, s.Doubt, name)
		}
	}
}

// TestThreeReadings half an hour apart (TM 5-4320-258-12) prove a cell full that gasses
// rapidly at a finishing current, whatever lies between them.
func TestThreeReadings(t *testing.T) {
	type reading struct{ v, a float64 }
	for name, c := range map[string]struct {
		all  [3]reading
		want bool
	}{
		"the same":                       {[3]reading{{2.58, 25}, {2.58, 25}, {2.58, 25}}, true},
		"6 A for each 100 Ah":            {[3]reading{{2.66, 59.9}, {2.66, 59.9}, {2.66, 59.9}}, true},
		"more":                           {[3]reading{{2.66, 61}, {2.66, 61}, {2.66, 61}}, false},
		"below rapid gassing":            {[3]reading{{2.549, 18}, {2.549, 18}, {2.549, 18}}, false},
		"11 mV apart":                    {[3]reading{{2.591, 25}, {2.58, 25}, {2.58, 25}}, true},
		"13 mV apart":                    {[3]reading{{2.593, 25}, {2.58, 25}, {2.58, 25}}, false},
		"the middle one":                 {[3]reading{{2.58, 25}, {2.593, 25}, {2.58, 25}}, false},
		"a tenth less":                   {[3]reading{{2.58, 25}, {2.58, 22.6}, {2.58, 22.6}}, true},
		"less than that":                 {[3]reading{{2.58, 25}, {2.58, 22.4}, {2.58, 22.4}}, false},
		"not explained":                  {[3]reading{{2.58, 29}, {2.58, 29}, {2.58, 29}}, false},
		"rising, but little is left":     {[3]reading{{2.657, 59.9}, {2.6610, 59.9}, {2.6655, 59.9}}, true},
		"rising, a tenth may be missing": {[3]reading{{2.655, 59.9}, {2.6605, 59.9}, {2.6666, 59.9}}, false},
		"rising ever more slowly":        {[3]reading{{2.655, 59.9}, {2.6640, 59.9}, {2.6668, 59.9}}, true},
	} {
		play := func(marks int) bool {
			h := newHands().bulk(2.50, 20)
			for k := range marks {
				if k%3 == 0 {
					h.take(c.all[k/3].v, c.all[k/3].a)
				} else {
					h.take(2.62, 40)
				}
				h.tick(10 * time.Minute)
			}
			return h.tr.Status().Full && h.tr.Status().Evidence == charge.SteadyVoltage
		}
		require.False(t, play(6), name)
		require.Equal(t, c.want, play(7), name)
	}
}

// TestAPauseInAPlateau: one of up to ten minutes is a pulse, a longer one begins it again.
func TestAPauseInAPlateau(t *testing.T) {
	for pause, want := range map[time.Duration]bool{10 * time.Minute: true, 10*time.Minute + time.Second: false} {
		h := newHands().bulk(2.53, 15)
		h.pass(time.Hour, 10*time.Minute)
		h.a, h.v = 0, 2.2
		h.tick(0)
		h.tick(0)
		h.tick(pause)
		h.take(2.53, 15)
		h.tick(0)
		h.tick(0)
		s := h.pass(50*time.Minute, 10*time.Minute)
		require.Equal(t, want, s.Evidence == charge.SteadyTaper, "%v", pause)
	}
	for name, lose := range map[string]func(*hands){
		"voltage":     func(h *hands) { h.v = math.NaN() },
		"current":     func(h *hands) { h.a = math.NaN() },
		"temperature": func(h *hands) { h.c = math.NaN() },
	} {
		h := newHands().bulk(2.53, 15)
		h.pass(time.Hour, 10*time.Minute)
		lose(h)
		h.tick(time.Minute)
		h.take(2.53, 15)
		h.c = 25
		require.NotEqual(t, charge.SteadyTaper, h.pass(50*time.Minute, 10*time.Minute).Evidence, "%s: successive readings must be successive", name)
	}
}
