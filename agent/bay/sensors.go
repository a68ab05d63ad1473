package bay

import (
	"math"
	"time"

	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// Readings is one tick's measurements and the orders received since the last
// tick. A reading whose sensor is not configured is missing. All times are on one
// monotonic clock that never goes back.
type Readings struct {
	Now             time.Duration
	PackV           reading.Reading // V, positive at the positive terminal
	CurrentA        reading.Reading // A, positive while charging
	PackC           reading.Reading // °C, electrolyte or case
	AmbientC        reading.Reading // °C, air in the bay
	Level           reading.Level   // mm, pilot cell
	HydrogenPct     reading.Reading // % by volume
	Airflow         reading.Reading // 1: the fan's proof shows that air moves; 0: it does not
	ContactorClosed reading.Reading // 1: the feedback contact shows closed; 0: open
	ChargerComplete reading.Reading // 1: the charger signals that it has finished
	RecordFailing   bool            // the logbook cannot be written
	// NoRecord means that an order of now would not be on record soon: those that
	// loosen are refused.
	NoRecord bool
	LateTick bool   // the relay was opened behind the core's back since the last tick
	Keeper   Keeper // how the relay's keeper answered the last tick
	// Bare is a level at or below the plate tops that lasted long enough between two
	// ticks to open the relay; missing when there was none.
	Bare   reading.Level
	Pack   PackSeen // whose own sensor answers, in a bay that recognises packs
	Taken  []string // the packs that other bays have
	Orders []order.Order
}

// sensorRow is what the core knows of one sensor.
type sensorRow struct {
	sensor reading.Sensor
	// always: no bay can work without it.
	always bool
	// most is the largest magnitude that such a sensor can show. A larger value comes
	// from a broken converter or an error in a trace, and would corrupt every sum it
	// enters.
	most float64
	// at is its field in the readings; nil for the level, which has two bounds.
	at func(*Readings) *reading.Reading
	// judged is where the rules see it as it is; nil where they see something made of
	// it, or where none looks at it.
	judged func(*interlock.Inputs) *reading.Reading
}

const mostMM = 1000

// sensorTable has a row for each sensor, in the order of the sensors.
var sensorTable = [...]sensorRow{
	{sensor: reading.PackVoltage, always: true, most: 1000, at: func(r *Readings) *reading.Reading { return &r.PackV }},
	{
		sensor: reading.PackCurrent, most: 1e5, at: func(r *Readings) *reading.Reading { return &r.CurrentA },
		judged: func(in *interlock.Inputs) *reading.Reading { return &in.CurrentA },
	},
	{
		sensor: reading.PackTemperature, always: true, most: mostC, at: func(r *Readings) *reading.Reading { return &r.PackC },
		judged: func(in *interlock.Inputs) *reading.Reading { return &in.PackC },
	},
	{sensor: reading.AmbientTemperature, most: mostC, at: func(r *Readings) *reading.Reading { return &r.AmbientC }},
	{sensor: reading.ElectrolyteLevel, always: true, most: mostMM},
	{
		sensor: reading.Hydrogen, most: 100, at: func(r *Readings) *reading.Reading { return &r.HydrogenPct },
		judged: func(in *interlock.Inputs) *reading.Reading { return &in.Hydrogen },
	},
	{
		sensor: reading.Airflow, most: anyValue, at: func(r *Readings) *reading.Reading { return &r.Airflow },
		judged: func(in *interlock.Inputs) *reading.Reading { return &in.Airflow },
	},
	{
		sensor: reading.ContactorFeedback, most: anyValue, at: func(r *Readings) *reading.Reading { return &r.ContactorClosed },
		judged: func(in *interlock.Inputs) *reading.Reading { return &in.Feedback },
	},
	{sensor: reading.ChargerComplete, most: anyValue, at: func(r *Readings) *reading.Reading { return &r.ChargerComplete }},
}

const (
	mostC    = 150             // a 1-wire sensor's range ends at 125
	anyValue = math.MaxFloat64 // its rule judges a contact
)

// Optional are the sensors that a bay may do without.
var Optional = func() (set reading.Sensors) {
	for _, row := range sensorTable {
		set = set.With(row.sensor, !row.always)
	}
	return set
}()

// Has reports whether the bay has a sensor.
func (s *Setup) Has(sensor reading.Sensor) bool {
	return s.Fitted.Has(sensor) || !Optional.Has(sensor)
}

// Of returns a sensor's reading; for the level, its lower bound.
func (r *Readings) Of(sensor reading.Sensor) reading.Reading {
	if sensor == reading.ElectrolyteLevel {
		return reading.Reading{Value: r.Level.LowMM, At: r.Level.At, Fault: r.Level.Fault}
	}
	if place := r.Place(sensor); place != nil {
		return *place
	}
	return reading.Reading{}
}

// Place returns where a sensor's reading is; nil for the level, which has two bounds.
func (r *Readings) Place(sensor reading.Sensor) *reading.Reading {
	for i := range sensorTable {
		if row := &sensorTable[i]; row.sensor == sensor && row.at != nil {
			return row.at(r)
		}
	}
	return nil
}

// Merge copies what a source has read; what the source has not read is missing in
// from and stays unchanged.
func (r *Readings) Merge(from *Readings) {
	for i := range sensorTable {
		row := &sensorTable[i]
		if row.at != nil && row.at(from).Fault != reading.Missing {
			*row.at(r) = *row.at(from)
		}
	}
	if from.Level.Fault != reading.Missing {
		r.Level = from.Level
	}
	if from.Pack.Fault != reading.Missing {
		r.Pack = from.Pack
	}
}

// judged copies the readings to where the rules see them.
func (r *Readings) judged(in *interlock.Inputs) {
	for i := range sensorTable {
		if row := &sensorTable[i]; row.judged != nil {
			*row.judged(in) = *row.at(r)
		}
	}
}

// Sensor is one of the readings with its name in messages and metrics.
type Sensor struct {
	Name    string
	Reading reading.Reading
}

// OnTrial reports whether a release would put a sensor on trial: one is doubted by how it
// behaved. The level's doubt ends by a level reading alone.
func (p *Picture) OnTrial() bool {
	for i := range sensorTable {
		s := sensorTable[i].sensor
		if s == reading.ElectrolyteLevel || !p.has.Has(s) {
			continue
		}
		switch p.Seen.Of(s).Fault {
		case reading.NotMoving, reading.Exchanged, reading.ZeroOff, reading.Noisy:
			return true
		default:
		}
	}
	return false
}

// Sensors lists the readings of the configured sensors in a fixed order; for the
// level, its lower bound.
func (p *Picture) Sensors() []Sensor {
	all := make([]Sensor, 0, len(sensorTable))
	for i := range sensorTable {
		if s := sensorTable[i].sensor; p.has.Has(s) {
			all = append(all, Sensor{s.String(), p.Seen.Of(s)})
		}
	}
	return all
}
