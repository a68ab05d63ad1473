package charge

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayward/agent/electrolyte"
)

// TestLawIsWorkedOutAnew: what is kept of the gassing law is that of the very
// figures that are asked for, bit by bit, also where they come and go and where
// the pack has gone in between.
func TestLawIsWorkedOutAnew(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const capacityAh = 225
		tr := New(Config{CapacityAh: capacityAh})
		volts := rapid.OneOf(rapid.SampledFrom([]float64{0, 2.13, 2.37, 2.6}), rapid.Float64Range(1, 3))
		celsius := rapid.OneOf(rapid.SampledFrom([]float64{0, 25, 25.06}), rapid.Float64Range(-50, 80))
		n := tick{vOK: true}
		for range rapid.IntRange(1, 40).Draw(t, "ticks") {
			switch rapid.IntRange(0, 3).Draw(t, "moves") {
			case 0:
				n.v = volts.Draw(t, "V")
			case 1:
				n.c = celsius.Draw(t, "°C")
			case 2:
				tr.PackGone(time.Second)
			}
			got, want := tr.gassingA(&n), electrolyte.GassingCurrentA(capacityAh, n.v, n.c)
			if math.Float64bits(got) != math.Float64bits(want) {
				t.Fatalf("%v V, %v °C: %v A, the law says %v", n.v, n.c, got, want)
			}
		}
	})
}
