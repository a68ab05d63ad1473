package bay

import (
	"math"

	"bayward/agent/reading"
)

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
}

const mostMM = 1000

// sensorTable has a row for each sensor, in the order of the sensors.
var sensorTable = [...]sensorRow{
	{reading.PackVoltage, true, 1000, func(r *Readings) *reading.Reading { return &r.PackV }},
	{reading.PackCurrent, false, 1e5, func(r *Readings) *reading.Reading { return &r.CurrentA }},
	{reading.PackTemperature, true, mostC, func(r *Readings) *reading.Reading { return &r.PackC }},
	{reading.AmbientTemperature, false, mostC, func(r *Readings) *reading.Reading { return &r.AmbientC }},
	{reading.ElectrolyteLevel, true, mostMM, nil},
	{reading.Hydrogen, false, 100, func(r *Readings) *reading.Reading { return &r.HydrogenPct }},
	{reading.Airflow, false, anyValue, func(r *Readings) *reading.Reading { return &r.Airflow }},
	{reading.ContactorFeedback, false, anyValue, func(r *Readings) *reading.Reading { return &r.ContactorClosed }},
	{reading.ChargerComplete, false, anyValue, func(r *Readings) *reading.Reading { return &r.ChargerComplete }},
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
