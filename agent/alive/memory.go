package alive

import (
	"encoding/json"
	"time"

	"bayward/agent/reading"
)

// Memory is what must survive a restart: of the sensors of a bay, or of those that stay
// in a pack.
type Memory struct {
	Sensors map[string]SensorMemory `json:"sensors,omitempty"`
	Pack    *packState              `json:"pack,omitempty"`
	Bay     *bayState               `json:"bay,omitempty"`
}

// SensorMemory is the doubt and the proof of one sensor.
type SensorMemory struct {
	Doubt      string   `json:"doubt,omitempty"`
	At         float64  `json:"at,omitempty"`    // what it showed when the doubt began
	Apart      *float64 `json:"apart,omitempty"` // of the pack's thermometer from the air's
	ProvenAgoS *float64 `json:"proven_ago_s,omitempty"`
}

// OfBay returns the memory of what is of the bay: in a bay for one pack, everything.
func (w *Watch) OfBay() *Memory {
	m := w.memory(func(s reading.Sensor) bool { return !w.cfg.OfPack.Has(s) })
	m.Bay = new(w.s.bayState)
	if w.cfg.OfPack == 0 {
		m.Pack = new(w.s.packState)
	}
	return m
}

// OfPack returns the memory of what goes with the pack, nil in a bay for one pack.
func (w *Watch) OfPack() *Memory {
	if w.cfg.OfPack == 0 {
		return nil
	}
	m := w.memory(w.cfg.OfPack.Has)
	m.Pack = new(w.s.packState)
	return m
}

func (w *Watch) memory(of func(reading.Sensor) bool) *Memory {
	m := &Memory{}
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		n := &w.senses[s]
		if !of(s) || !n.doubted() && !n.proven {
			continue
		}
		out := SensorMemory{At: n.atValue}
		if n.doubted() {
			out.Doubt = n.doubt.String()
			if n.hasAir {
				out.Apart = new(n.atApart)
			}
		}
		if n.proven {
			out.ProvenAgoS = new((w.now - n.provenAt).Seconds())
		}
		if m.Sensors == nil {
			m.Sensors = map[string]SensorMemory{}
		}
		m.Sensors[s.String()] = out
	}
	return m
}

// mostS bounds an age, s: 31 years, which still fits a duration.
const mostS = 1e9

// Valid reports whether a memory can be one that was saved; nil can.
func (m *Memory) Valid() bool {
	if m == nil {
		return true
	}
	for name, s := range m.Sensors {
		if sensorNamed(name) == reading.NoSensor || s.Doubt != "" && doubtNamed(s.Doubt) == reading.None ||
			s.ProvenAgoS != nil && !(*s.ProvenAgoS >= 0 && *s.ProvenAgoS <= mostS) {
			return false
		}
	}
	_, err := json.Marshal(m) // every number is one
	return err == nil
}

func sensorNamed(name string) reading.Sensor {
	for s := reading.NoSensor + 1; s < reading.NumSensors; s++ {
		if s.String() == name {
			return s
		}
	}
	return reading.NoSensor
}

// doubtNamed returns a doubt by its name, None for an unknown name.
func doubtNamed(name string) reading.Fault {
	if f, ok := reading.ParseFault(name); ok && (f == reading.NotMoving || f == reading.Exchanged) {
		return f
	}
	return reading.None
}

// Restore restores a valid memory before the next step; nil restores nothing. Doubts
// outlive any gap. A proof is as old as the gap makes it; after one that is not proven it
// is not known how old.
func (w *Watch) Restore(m *Memory, now, gap time.Duration, proven bool) {
	w.now = now
	if m == nil {
		return
	}
	for name, s := range m.Sensors {
		n := sense{doubt: doubtNamed(s.Doubt), atValue: s.At}
		if s.Apart != nil {
			n.atApart, n.hasAir = *s.Apart, true
		}
		if s.ProvenAgoS != nil && proven {
			n.provenAt, n.proven = now-gap-time.Duration(*s.ProvenAgoS*float64(time.Second)), true
		}
		w.senses[sensorNamed(name)] = n
	}
	if m.Pack != nil {
		w.s.packState = *m.Pack
	}
	if m.Bay != nil {
		w.s.bayState = *m.Bay
	}
}
