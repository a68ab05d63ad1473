package commission

import (
	"math"
	"strconv"
	"strings"

	"bayward/agent/words"
)

// Assumptions of the error budget.
const (
	// meterShare is the error of a common hand meter as a share of its reading, in
	// addition to two steps of its last digit (usual specification of 3½-digit
	// meters on DC volts; from memory). A better meter only makes the budget
	// smaller.
	meterShare = 0.005
	// driftShare is how far a divider or shunt drifts after the calibration: 50 ppm
	// per kelvin over 20 K.
	driftShare = 50e-6 * 20
)

// point is one pair of values: the voltage at the converter's input and the reading
// of the meter.
type point struct {
	inputV float64 // mean of the looks
	noiseV float64 // standard deviation of one look
	looks  int
	meter  figure
}

// linear is value = (input − zero) × factor.
type linear struct{ factor, zeroV float64 }

// through returns the line through two points. They may be too close to each other.
func through(a, b point) (l linear, ok bool) {
	du, dv := b.inputV-a.inputV, b.meter.value-a.meter.value
	noise := 20 * math.Max(a.noiseV, b.noiseV) / math.Sqrt(float64(max(1, min(a.looks, b.looks))))
	if du == 0 || dv == 0 || math.Abs(du) < noise {
		return linear{}, false
	}
	factor := dv / du
	return linear{factor, a.inputV - a.meter.value/factor}, true
}

// bounds limits how far a calibration may move the configured values. A larger
// difference is not the spread of parts but a wrong part, a wrong lead or a slip.
type bounds struct {
	share float64 // of the factor
	zeroV float64 // of the zero, V at the input
}

var (
	// voltageBounds: two 1 % resistors and a converter of 0.15 % differ by 2 % at
	// most; 5 % leaves room for the meter.
	voltageBounds = bounds{0.05, 0.02}
	// currentBounds: Hall sensors are specified to 1 to 10 %, and their zero follows
	// the supply (common practice, no source).
	currentBounds = bounds{0.20, 0.15}
	// shuntBounds: shunts are 0.5 % or 1 % parts; the zero is the converter's own.
	shuntBounds = bounds{0.10, 0.002}
)

// accept compares a calibration with the configured values.
func (b bounds) accept(got, configured linear, factorKey, zeroKey string) error {
	if got.factor*configured.factor < 0 {
		return failed("walk.calibrate.sign", factorKey, rounded(configured.factor), rounded(got.factor))
	}
	if off := got.factor/configured.factor - 1; math.Abs(off) > b.share {
		return failed("walk.calibrate.factor", factorKey, rounded(configured.factor), rounded(got.factor), 100*off, 100*b.share)
	}
	if off := got.zeroV - configured.zeroV; math.Abs(off) > b.zeroV {
		return failed("walk.calibrate.zero", zeroKey, rounded(configured.zeroV), rounded(got.zeroV), b.zeroV)
	}
	return nil
}

// part is one contribution to an error budget, as a standard uncertainty in the unit
// of the reading.
type part struct {
	name string // of a text in agent/words
	u    float64
}

// budget lists the contributions to the error of a calibrated reading at one point.
type budget []part

// budgetAt returns the budget of a line at a point; stepV is the step of its
// input. The method is that of the Guide to the Expression of Uncertainty in
// Measurement (JCGM 100:2008): bounds are treated as rectangular distributions,
// contributions are added as squares, and the result is twice the root, for about 95
// % coverage.
func budgetAt(l linear, p point, stepV float64) budget {
	root3, f := math.Sqrt(3), math.Abs(l.factor)
	return budget{
		{"meter", (meterShare*math.Abs(p.meter.value) + 2*p.meter.digit) / root3},
		{"noise", f * p.noiseV / math.Sqrt(float64(max(1, p.looks)))},
		{"step", f * stepV / math.Sqrt(12)},
		{"drift", driftShare * math.Abs(p.meter.value) / root3},
	}
}

// total returns the expanded uncertainty: twice the root of the sum of squares.
func (b budget) total() float64 {
	sum := 0.0
	for _, p := range b {
		sum += p.u * p.u
	}
	return 2 * math.Sqrt(sum)
}

// says lists the contributions, each expanded like the total.
func (b budget) says(unit string) words.Sentence {
	var parts []words.Sentence
	for _, p := range b {
		parts = append(parts, words.Of("walk.calibrate.share", words.Of("walk.budget."+p.name), short(2*p.u)))
	}
	return words.Of("walk.calibrate.budget", parts, short(b.total()), unit)
}

// fixed formats a value with the number of digits that a calibration supports,
// without an exponent.
func fixed(v float64) string {
	if v == 0 {
		return "0"
	}
	digits := max(0, 5-int(math.Floor(math.Log10(math.Abs(v))))-1)
	s := strconv.FormatFloat(v, 'f', min(digits, 6), 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" || s == "" {
		return "0"
	}
	return s
}

// rounded returns the value that fixed prints.
func rounded(v float64) float64 {
	out, _ := strconv.ParseFloat(fixed(v), 64)
	return out
}

// meanOf returns the mean and the standard deviation.
func meanOf(values []float64) (mean, sd float64) {
	for _, v := range values {
		mean += v / float64(len(values))
	}
	for _, v := range values {
		sd += (v - mean) * (v - mean)
	}
	if len(values) > 1 {
		sd = math.Sqrt(sd / float64(len(values)-1))
	}
	return mean, sd
}
