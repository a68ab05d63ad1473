package commission

import (
	"math"
	"strings"
	"testing"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %g, want %g within %g", what, got, want, within)
	}
}

func at(inputV, meter float64) point {
	return point{inputV: inputV, noiseV: 0.0005, looks: 20, meter: figure{meter, 0.01}}
}

// TestThrough: a divider of 100 kΩ over 10 kΩ whose upper resistor is 1 % high, and
// a converter that is off by 2 mV. Worked out by hand, the ratio is (101+10)/10.
func TestThrough(t *testing.T) {
	const ratio, offset = 11.1, 0.002
	got, ok := through(at(offset, 0), at(offset+25.2/ratio, 25.2))
	if !ok {
		t.Fatal("no line")
	}
	near(t, "ratio", got.factor, ratio, 1e-9)
	near(t, "offset", got.zeroV, offset, 1e-12)
	if _, ok := through(at(1.65, 0), at(1.6505, 0.05)); ok {
		t.Error("two points within the noise make a line")
	}
	if _, ok := through(at(1.65, 5), at(1.9, 5)); ok {
		t.Error("the same meter value twice makes a line")
	}
}

// TestAcceptBounds: each bound refuses a value just beyond it and gives a reason.
func TestAcceptBounds(t *testing.T) {
	configured := linear{11, 0}
	for name, row := range map[string]struct {
		got  linear
		says string
	}{
		"as configured": {linear{11, 0}, ""}, "4.9 % high": {linear{11 * 1.049, 0.019}, ""}, "4.9 % low": {linear{11 * 0.951, -0.019}, ""},
		"5.1 % high": {linear{11 * 1.051, 0}, "+5.1 %"}, "5.1 % low": {linear{11 * 0.949, 0}, "-5.1 %"},
		"zero": {linear{11, 0.021}, "voltage.offset_v"}, "sign": {linear{-11, 0}, "sign"},
	} {
		err := voltageBounds.accept(row.got, configured, "voltage.ratio", "voltage.offset_v")
		if (err == nil) != (row.says == "") || err != nil && !strings.Contains(err.Error(), row.says) {
			t.Errorf("%s: %v, want %q", name, err, row.says)
		}
	}
}

// TestBudget adds up one budget as JCGM 100:2008 does (4.3.7 for rectangular bounds,
// 5.1.2 for the sum of squares, 6.2 for the factor 2). The figures are worked out by
// hand.
func TestBudget(t *testing.T) {
	p := point{inputV: 2.27, noiseV: 0.001, looks: 25, meter: figure{25, 0.01}}
	b := budgetAt(linear{11, 0}, p, 4.096/32768)
	want := []float64{
		(0.005*25 + 0.02) / math.Sqrt(3), // 0.0837
		11 * 0.001 / 5,                   // 0.0022
		11 * 4.096 / 32768 / math.Sqrt(12),
		0.001 * 25 / math.Sqrt(3),
	}
	for i, w := range want {
		near(t, b[i].name, b[i].u, w, 1e-12)
	}
	near(t, "together", b.total(), 0.16998, 1e-4)
}

func TestFigures(t *testing.T) {
	for text, want := range map[string]figure{
		"24.61": {24.61, 0.01}, "24,6": {24.6, 0.1}, " 25 ": {25, 1}, "-20.0": {-20, 0.1}, "0": {0, 1},
	} {
		got, ok := parseFigure(text)
		if !ok || math.Abs(got.value-want.value) > 1e-12 || math.Abs(got.digit-want.digit) > 1e-12 {
			t.Errorf("%q: %v %v, want %v", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "24.6 V", "nan", "inf", "1e3", "0x10", "1_000", "--1", "1.2.3"} {
		if got, ok := parseFigure(text); ok {
			t.Errorf("%q is taken for %v", text, got)
		}
	}
	for v, want := range map[float64]string{11: "11", 11.0234567: "11.023", 0.00003: "0.00003", -100.004: "-100", 1.65: "1.65", 0: "0", 2500: "2500"} {
		if got := fixed(v); got != want {
			t.Errorf("fixed(%g): %q, want %q", v, got, want)
		}
	}
}

// FuzzFigure: any input that parses is a finite number.
func FuzzFigure(f *testing.F) {
	for _, s := range []string{"24.6", "24,6", "-1", "", "1e999", "+.5", "٣"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if got, ok := parseFigure(s); ok && (math.IsNaN(got.value) || math.IsInf(got.value, 0) || !(got.digit > 0 || len(s) > 300)) {
			t.Errorf("%q: %v", s, got)
		}
	})
}
