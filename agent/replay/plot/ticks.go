package plot

import (
	"math"
	"strconv"

	"gonum.org/v1/plot"
)

// ticks labels round values, at most so many.
type ticks struct {
	most  int
	steps []float64 // accepted steps, rising; beyond, 1, 2 and 5 times powers of ten
	mute  bool      // no labels
}

// hourSteps are the steps that people read off a clock.
func hourSteps() []float64 { return []float64{0.25, 0.5, 1, 2, 3, 6, 12, 24} }

// Ticks gives them for a range.
func (t ticks) Ticks(lo, hi float64) []plot.Tick {
	step := t.step(hi - lo)
	var out []plot.Tick
	// Adding 0 turns -0, which would be printed so, into 0.
	for k := math.Ceil(lo/step-1e-9) + 0; k*step <= hi+1e-9*step; k++ {
		label := ""
		if !t.mute {
			label = strconv.FormatFloat(math.Round(k*step*1e9)/1e9, 'f', -1, 64)
		}
		out = append(out, plot.Tick{Value: k * step, Label: label})
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

var _ plot.Ticker = ticks{}
