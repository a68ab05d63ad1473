package ammeter

import (
	"math"
	"time"

	"bayward/agent/reading"
)

// Memory is what must survive a restart: the zero, the noise and what counts towards
// changing them.
type Memory struct {
	Sensor      string   `json:"sensor,omitempty"` // see Config
	ZeroA       *float64 `json:"zero_a,omitempty"`
	ZeroAgoS    *float64 `json:"zero_ago_s,omitempty"`
	NoiseA      *float64 `json:"noise_a,omitempty"`
	Fault       string   `json:"fault,omitempty"`
	FarA        float64  `json:"far_a,omitempty"`
	ToldA       *float64 `json:"told_a,omitempty"`
	RefA        float64  `json:"ref_a,omitempty"`
	High        int      `json:"high,omitempty"`
	Low         int      `json:"low,omitempty"`
	LowOpenings int      `json:"low_openings,omitempty"`
	LoadA       float64  `json:"load_a,omitempty"`
	LoadS       float64  `json:"load_s,omitempty"`
}

// Memory returns what must survive a restart, nil while nothing is known.
func (m *Meter) Memory() *Memory {
	s, k := &m.s, &m.k
	if !s.ZeroKnown && !s.NoiseKnown && s.Fault == reading.None && k.loadS == 0 {
		return nil
	}
	out := &Memory{
		Sensor: m.cfg.Sensor, FarA: s.FarA, RefA: k.refA, High: k.high, Low: k.low, LowOpenings: k.lowOpenings,
		LoadA: k.loadA, LoadS: k.loadS,
	}
	if s.ZeroKnown {
		out.ZeroA = new(s.ZeroA)
		if s.ZeroAtKnown {
			out.ZeroAgoS = new(max(m.now-s.ZeroAt, 0).Seconds())
		}
	}
	if s.NoiseKnown {
		out.NoiseA = new(s.NoiseA)
	}
	if s.Fault != reading.None {
		out.Fault = s.Fault.String()
	}
	if k.told {
		out.ToldA = new(k.toldA)
	}
	return out
}

// mostA and mostS bound the values in a memory.
const mostA, mostS = 1e5, 1e9

// Valid reports whether a memory can be one that was saved; nil can.
func (m *Memory) Valid() bool {
	if m == nil {
		return true
	}
	for _, a := range []float64{orZero(m.ZeroA), orZero(m.NoiseA), m.FarA, orZero(m.ToldA), m.RefA, m.LoadA} {
		if !(math.Abs(a) <= mostA) {
			return false
		}
	}
	_, known := faultNamed(m.Fault)
	within := func(s float64) bool { return s >= 0 && s <= mostS }
	return known && orZero(m.NoiseA) >= 0 && within(orZero(m.ZeroAgoS)) && within(m.LoadS) && m.High >= 0 && m.Low >= 0 && m.LowOpenings >= 0
}

func orZero(x *float64) float64 {
	if x == nil {
		return 0
	}
	return *x
}

func faultNamed(name string) (f reading.Fault, ok bool) {
	if name == "" {
		return reading.None, true
	}
	f, ok = reading.ParseFault(name)
	return f, ok && (f == reading.ZeroOff || f == reading.Noisy)
}

// Restore restores a valid memory before the first step, which is at now; nil restores
// nothing, and neither does a memory of another sensor. gap is the time since it was
// saved, if proven. A zero outlives any gap: a sensor keeps it without power.
func (m *Meter) Restore(mem *Memory, now, gap time.Duration, proven bool) {
	if mem == nil || mem.Sensor != m.cfg.Sensor {
		return
	}
	s := &m.s
	m.now = now
	s.Fault, _ = faultNamed(mem.Fault)
	s.FarA = mem.FarA
	if mem.ZeroA != nil {
		s.ZeroA, s.ZeroKnown = *mem.ZeroA, true
	}
	if mem.ZeroAgoS != nil && proven {
		s.ZeroAt, s.ZeroAtKnown = now-gap-time.Duration(*mem.ZeroAgoS*float64(time.Second)), true
	}
	if mem.NoiseA != nil {
		s.NoiseA, s.NoiseKnown = *mem.NoiseA, true
	}
	m.k = kept{
		refA: mem.RefA, high: mem.High, low: mem.Low, lowOpenings: mem.LowOpenings, loadA: mem.LoadA, loadS: mem.LoadS,
		told: mem.ToldA != nil, toldA: orZero(mem.ToldA), lowNew: true,
	}
}
