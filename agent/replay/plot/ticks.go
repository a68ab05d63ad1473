package plot

import (
	"math"
	"strconv"
)

// tick is a position on an axis with its label.
type tick struct {
	at    float64
	label string
}

// ticks labels round values, at most so many.
type ticks struct {
	most  int
	steps []float64 // accepted steps, rising; beyond them, 1, 2 and 5 times powers of ten
}

// hourSteps returns the steps that people read off a clock.
func hourSteps() []float64 { return []float64{0.25, 0.5, 1, 2, 3, 6, 12, 24} }

// between returns the ticks for a range.
func (t ticks) between(lo, hi float64) []tick {
	step := t.step(hi - lo)
	var out []tick
	// Adding 0 turns -0, which would be printed as such, into 0.
	for k := math.Ceil(lo/step-1e-9) + 0; k*step <= hi+1e-9*step; k++ {
		out = append(out, tick{k * step, strconv.FormatFloat(math.Round(k*step*1e9)/1e9, 'f', -1, 64)})
	}
	return out
}

func (t ticks) step(width float64) float64 {
	for _, s := range t.steps {
		if width/s <= float64(t.most) {
			return s
		}
	}
	p := math.Pow(10, math.Floor(math.Log10(max(width, 1e-9)/float64(t.most))))
	for _, m := range []float64{1, 2, 5} {
		if width/(m*p) <= float64(t.most) {
			return m * p
		}
	}
	return 10 * p
}
