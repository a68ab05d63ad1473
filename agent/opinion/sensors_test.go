package opinion

import (
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
)

// overcharges lets a charger that does not end run for some hours in a shed of a
// temperature.
func (y *yard) overcharges(hours int, airC float64) {
	y.climate = func(time.Duration) float64 { return airC }
	y.work(0.6*y.setup.Pack.CapacityAh, 0)
	for range hours {
		y.run(time.Hour)
		y.charger.finished, y.charger.done = 0, false
	}
}

// completeWelded: the charger's contact shows its end since ever.
func completeWelded(t *testing.T) *yard {
	y := newYard(t, 34, everySensor)
	y.spoil = func(r *bay.Readings) { r.ChargerComplete = reading.Good(1, y.now) }
	y.overcharges(72, 25)
	return y
}
