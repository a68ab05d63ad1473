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

// thermometerInAir: it came off the jar, and shows the air.
func thermometerInAir(t *testing.T) *yard {
	y := newYard(t, 30, func(s *bay.Setup) { s.TempOnCase = true })
	y.live(2, &person{}, nil)
	y.spoil = func(r *bay.Readings) { r.PackC = r.AmbientC }
	y.overcharges(36, 40)
	return y
}

// voltageStuck: the converter shows one voltage for good.
func voltageStuck(t *testing.T) *yard {
	y := newYard(t, 31, nil)
	y.spoil = func(r *bay.Readings) { r.PackV = reading.Good(25.6, y.now) }
	y.overcharges(72, 25)
	return y
}

// completeWelded: the charger's contact shows its end since ever.
func completeWelded(t *testing.T) *yard {
	y := newYard(t, 34, everySensor)
	y.room.fan = false // its proof must have been seen off
	y.tick(time.Second)
	y.room.fan = true
	y.spoil = func(r *bay.Readings) { r.ChargerComplete = reading.Good(1, y.now) }
	y.overcharges(72, 25)
	return y
}

// temperatureStuck: the pack's thermometer shows 35 °C for good, in a hot shed with a
// charger that does not end.
func temperatureStuck(t *testing.T) *yard {
	y := charging(t, nil)
	y.spoil = func(r *bay.Readings) { r.PackC = reading.Good(35, y.now) }
	y.climate = func(time.Duration) float64 { return 42 }
	for range 24 {
		y.run(time.Hour)
		y.charger.finished, y.charger.done = 0, false
	}
	return y
}

// thermometersExchanged: the pack's and the air's have each other's wires.
func thermometersExchanged(t *testing.T) *yard {
	y := newYard(t, 8, nil)
	y.spoil = func(r *bay.Readings) { r.PackC, r.AmbientC = r.AmbientC, r.PackC }
	y.climate = func(time.Duration) float64 { return 42 }
	y.work(0.7*y.setup.Pack.CapacityAh, 4)
	for range 36 {
		y.run(time.Hour)
		y.charger.finished, y.charger.done = 0, false
	}
	return y
}

// currentStuck: the current sensor shows nothing, and the charger does not end.
func currentStuck(t *testing.T) *yard {
	y := newYard(t, 9, nil)
	y.spoil = func(r *bay.Readings) { r.CurrentA = reading.Good(0, y.now) }
	y.work(0.6*y.setup.Pack.CapacityAh, 0)
	for range 72 {
		y.run(time.Hour)
		y.charger.finished, y.charger.done = 0, false
	}
	return y
}
