// Package baytest gives the tests of the core and of its edges one bay to start
// from: a pack, a setup, readings and a driver that steps a core with them.
package baytest

import (
	"fmt"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// Pack is the invented pack of the demo: 24 V, 225 Ah. A cell takes 13 ml for each
// millimetre of level.
func Pack() bay.Pack {
	return bay.Pack{
		Name: "lift-24v", Cells: 12, CapacityAh: 225, RateHours: 20, FullGravity: 1.277, ChargeLevelMM: 3,
		FillMarkMM: 13, VentWellMM: 22, FreeSurfaceCM2: 130, ElectrolyteML: 1350, ChargeFactor: 1.15,
	}
}

// Packs are packs like it under other names.
func Packs(names ...string) []bay.Pack {
	packs := make([]bay.Pack, len(names))
	for i, name := range names {
		packs[i] = Pack()
		packs[i].Name = name
	}
	return packs
}

// Setup is a bay for Pack alone, with the default limits and the optional sensors
// that Values has.
func Setup(name string) bay.Setup {
	return bay.Setup{
		Name: name, Pack: Pack(), Limits: bay.DefaultLimits(),
		Fitted: reading.SensorsOf(reading.PackCurrent, reading.AmbientTemperature, reading.ContactorFeedback),
	}
}

// Every fits every sensor that a bay may have.
func Every(s bay.Setup) bay.Setup {
	s.Fitted = bay.Optional
	return s
}

// Places returns where the readings of all sensors are, in their order, but for the
// level, which has two bounds.
func Places(r *bay.Readings) (places []*reading.Reading) {
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		if place := r.Place(s); place != nil {
			places = append(places, place)
		}
	}
	return places
}

// Fill gives every optional sensor that has no reading what it shows while nothing is
// wrong.
func Fill(r *bay.Readings, now time.Duration) {
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		if at := r.Place(s); bay.Optional.Has(s) && at.Fault == reading.Missing {
			*at = reading.Good(s.Well(), now)
		}
	}
}

// Values are what the sensors of a bay show.
type Values struct {
	PackV, CurrentA, PackC, AmbientC, LevelMM float64
	Closed                                    bool // the contactor
}

// AtRest is a pack of the usual charge at rest, its level between the lowest for
// charging and the fill mark.
func AtRest() Values { return Values{PackV: 25.2, PackC: 25, AmbientC: 21, LevelMM: 6} }

// At gives the values as good readings, all of that time.
func (v Values) At(now time.Duration) bay.Readings {
	var r bay.Readings
	v.Put(&r, now)
	return r
}

// Put fills in their readings and leaves the others alone.
func (v Values) Put(r *bay.Readings, now time.Duration) {
	r.Now = now
	r.PackV, r.CurrentA = reading.Good(v.PackV, now), reading.Good(v.CurrentA, now)
	r.PackC, r.AmbientC = reading.Good(v.PackC, now), reading.Good(v.AmbientC, now)
	r.Level = reading.LevelBetween(v.LevelMM, v.LevelMM, now)
	r.ContactorClosed = reading.Good(0, now)
	if v.Closed {
		r.ContactorClosed.Value = 1
	}
}

// Driver steps a core once a second with good readings. Its contactor does what the
// permit says.
type Driver struct {
	Core   *bay.Bay
	Now    time.Duration       // of the last tick
	Values Values              // of the ticks to come
	Change func(*bay.Readings) // makes of them what the test is about; nil for nothing
	asked  int
	fan    bool // has run up: in the first tick with an airflow switch it is off
}

// New makes a driver of a new core whose pack is at rest.
func New(s bay.Setup) *Driver { return &Driver{Core: bay.New(s), Values: AtRest()} }

// Ask is a tick with orders of a person, each with an ID of its own.
func (d *Driver) Ask(orders ...order.Order) (*bay.Picture, []bay.Event) {
	for i := range orders {
		d.asked++
		orders[i].ID, orders[i].By = fmt.Sprint("order-", d.asked), "A. Person"
	}
	return d.Tick(orders...)
}

// Tick is one second. The picture and the events are valid until the next tick.
func (d *Driver) Tick(orders ...order.Order) (*bay.Picture, []bay.Event) {
	d.Now += time.Second
	r := d.Values.At(d.Now)
	r.Orders = orders
	if d.Change != nil {
		d.Change(&r)
	}
	if !d.fan && r.Airflow.OK() {
		r.Airflow.Value, d.fan = 0, true
	}
	p, events := d.Core.Step(&r)
	d.Values.Closed = p.Permit.Granted
	return p, events
}

// Run ticks for a time and gives the last picture.
func (d *Driver) Run(span time.Duration) (p *bay.Picture) {
	for end := d.Now + span; d.Now < end; {
		p, _ = d.Tick()
	}
	return p
}
