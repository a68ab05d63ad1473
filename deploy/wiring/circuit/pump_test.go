package circuit

import (
	"math"
	"testing"
)

// TestPump: over the tolerances of its parts the watchdog is held without a gap from the
// first rising edge on, and drops 4 to 10 s after the last, whether the line then stands
// high or low. The pump is followed step by step: a formula for its discharge once
// forgot that a line which stands high goes on feeding it through C1.
func TestPump(t *testing.T) {
	low, high := math.Inf(1), 0.0
	for i := range 64 {
		at := func(bit int, a, b float64) float64 { return []float64{a, b}[i>>bit&1] }
		p := NewPump(Fault{}).Spread(at(0, 0.9, 1.1), at(1, 0.9, 1.1), at(2, 0.99, 1.01), at(3, 0.98, 1.02), at(4, 0.35, 0.6))
		c := p.Watch(40 + i>>5) // the last edge is a falling or a rising one
		if c.Share < 1 || c.ClosesS > 0.1 || c.SteadyS != c.ClosesS {
			t.Errorf("%b: %+v", i, c)
		}
		low, high = min(low, c.HoldsS), max(high, c.HoldsS)
	}
	if low < 4 || high > 10 {
		t.Errorf("drops %.1f to %.1f s after the last edge", low, high)
	}
	t.Logf("figure: the watchdog from parts drops %.1f to %.1f s after the last edge", low, high)
}

// TestPumpFaults: with any single fault no steady level holds the watchdog for longer
// than half a minute.
func TestPumpFaults(t *testing.T) {
	for _, f := range PumpFaults() {
		for _, edges := range []int{40, 41} {
			c := NewPump(f).Watch(edges)
			if c.HoldsS > 30 {
				t.Errorf("%s %v: holds for %.0f s without an edge", f.Part.Name, f.Failure, c.HoldsS)
			}
			t.Logf("%s %v: %+v", f.Part.Name, f.Failure, c)
		}
	}
}
