package opinion

import (
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/reading"
)

// spoiled changes readings; good tells in which of them the broken thing looks well.
type spoiled func(y *yard, r *bay.Readings, good bool)

// everySensor is a bay that has each of them.
func everySensor(s *bay.Setup) { s.Fitted = bay.Optional }

// charging is a yard in the middle of a charge, everything being in order.
func charging(t *testing.T, change func(*bay.Setup)) *yard {
	y := newYard(t, 1, change)
	y.room.fan = false // its proof must have been seen off
	y.leave(time.Hour, 0.6*y.setup.Pack.CapacityAh)
	y.room.fan = true
	y.run(90 * time.Minute)
	y.seconds(10 * time.Minute)
	if !y.granted || y.currentA <= 0 {
		t.Fatalf("no charge: %v", y.pic.Codes())
	}
	return y
}

// flaps breaks a thing for good, in the middle of a charge, while its evidence shows it
// well in one second of so many, for an hour.
func flaps(w wrong, of int, spoil spoiled) func(*testing.T) *yard {
	return func(t *testing.T) *yard {
		y := charging(t, everySensor)
		y.oracle.broken[w] = true
		clear(y.blocks)
		y.spoil = func(r *bay.Readings) { spoil(y, r, y.ticks%of == of-1) }
		y.seconds(time.Hour)
		return y
	}
}

func levelFlaps(y *yard, r *bay.Readings, good bool) {
	mm := -10.0
	if good {
		mm = 8
	}
	r.Level = reading.LevelBetween(mm, mm, y.now)
}

func levelWireLoose(y *yard, r *bay.Readings, good bool) {
	if !good {
		r.Level = reading.Level{At: y.now, Fault: reading.Open}
	}
}

func hydrogenFlaps(y *yard, r *bay.Readings, good bool) {
	r.HydrogenPct = reading.Good(3.9, y.now)
	if good {
		r.HydrogenPct.Value = 1.9
	}
}

func temperatureFlaps(y *yard, r *bay.Readings, good bool) {
	r.PackC = reading.Good(70, y.now)
	if good {
		r.PackC.Value = 45
	}
}

func voltageFlaps(y *yard, r *bay.Readings, good bool) {
	if !good {
		r.PackV = reading.Good(3.2*float64(y.setup.Pack.Cells), y.now)
	}
}

func airFlaps(y *yard, r *bay.Readings, good bool) { r.Airflow = reading.Good(bit(good), y.now) }

// airNeverOff: the fan is broken, and its switch was bridged before the bay began.
func airNeverOff(t *testing.T) *yard {
	y := newYard(t, 1, everySensor)
	y.oracle.broken[airless] = true
	y.room.fan = false
	y.spoil = func(r *bay.Readings) { r.Airflow = reading.Good(1, y.now) }
	y.leave(time.Hour, 0.6*y.setup.Pack.CapacityAh)
	y.seconds(time.Hour)
	return y
}

// timeGoesBack: the clock of the readings runs backwards while the plates are bare.
func timeGoesBack(t *testing.T) *yard {
	y := charging(t, nil)
	stopped := y.now
	for i := range y.cells {
		y.cells[i].ml = -200
	}
	y.spoil = func(r *bay.Readings) {
		back := stopped - (y.now - stopped)
		shift := back - r.Now
		r.Now = back
		for _, at := range []*time.Duration{&r.PackV.At, &r.CurrentA.At, &r.PackC.At, &r.AmbientC.At, &r.Level.At, &r.ContactorClosed.At} {
			*at += shift
		}
	}
	y.seconds(time.Hour)
	return y
}
