package bay

import (
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// Sensor is one of the readings with its name in messages and metrics.
type Sensor struct {
	Name    string
	Reading reading.Reading
}

// maxSensors is how many sensors a bay can have.
const maxSensors = 9

// Sensors lists the readings of the configured sensors in a fixed order. The
// level stands with its lower bound.
func (p *Picture) Sensors() []Sensor {
	s, h := &p.Seen, p.has
	all := make([]Sensor, 1, maxSensors)
	all[0] = Sensor{"pack-voltage", s.PackV}
	add := func(has bool, name string, r reading.Reading) {
		if has {
			all = append(all, Sensor{name, r})
		}
	}
	add(h.HasCurrent, "pack-current", s.CurrentA)
	add(true, "pack-temperature", s.PackC)
	add(h.HasAmbient, "ambient-temperature", s.AmbientC)
	add(true, "level", reading.Reading{Value: s.Level.LowMM, At: s.Level.At, Fault: s.Level.Fault})
	add(h.HasHydrogen, "hydrogen", s.HydrogenPct)
	add(h.HasAirflow, "airflow", s.Airflow)
	add(h.HasFeedback, "contactor-feedback", s.ContactorClosed)
	add(h.HasChargerContact, "charger-complete", s.ChargerComplete)
	return all
}

// String is the permit in messages: "granted" or "blocked".
func (p Permit) String() string {
	if p.Granted {
		return "granted"
	}
	return "blocked"
}

// Codes lists the raised findings' names in the order of the table.
func (p *Picture) Codes() []string {
	out := []string{}
	for c := range p.Findings {
		if p.Findings[c].Raised {
			out = append(out, interlock.Code(c).String())
		}
	}
	return out
}

// Clone copies a picture so that it may be kept after the next tick.
func (p *Picture) Clone() *Picture {
	c := *p
	c.Seen.Orders = nil
	return &c
}
