package charge

import (
	"math"
	"time"
)

// Memory is what must survive a restart. Times are ages at the moment of
// saving, since a clock that starts anew says nothing about the old one.
type Memory struct {
	Active     bool    `json:"active,omitempty"`
	SinceAgoS  float64 `json:"since_ago_s"`
	FlowS      float64 `json:"flow_s"`
	Full       bool    `json:"full,omitempty"`
	Evidence   uint8   `json:"evidence,omitempty"`
	FullAgoS   float64 `json:"full_ago_s"`
	Ended      bool    `json:"ended,omitempty"`
	EndedAgoS  float64 `json:"ended_ago_s"`
	InAh       float64 `json:"in_ah"`
	OutAh      float64 `json:"out_ah"`
	OutKnown   bool    `json:"out_known,omitempty"`
	BackAh     float64 `json:"back_ah"`
	GassingAh  float64 `json:"gassing_ah"`
	Soc        float64 `json:"soc"`
	SocPlus    float64 `json:"soc_plus"`
	SocKnown   bool    `json:"soc_known,omitempty"`
	TotalInAh  float64 `json:"total_in_ah"`
	TotalOutAh float64 `json:"total_out_ah"`
	TotalGasAh float64 `json:"total_gassing_ah"`
	Charges    uint64  `json:"charges"`
	Fulls      uint64  `json:"charges_full"`
}

// Memory gives what must survive a restart, as of the last step.
func (t *Tracker) Memory() Memory {
	s := &t.s
	ago := func(at time.Duration) float64 { return (t.last - at).Seconds() }
	return Memory{
		Active: s.Active, SinceAgoS: ago(s.Since), FlowS: t.flowS, Full: s.Full, Evidence: uint8(s.Evidence),
		FullAgoS: ago(s.FullAt), Ended: s.Ended, EndedAgoS: ago(s.EndedAt), InAh: s.InAh, OutAh: s.OutAh,
		OutKnown: s.OutKnown, BackAh: t.backAh, GassingAh: s.GassingAh, Soc: s.Soc, SocPlus: s.SocPlus,
		SocKnown: s.SocKnown, TotalInAh: s.TotalInAh, TotalOutAh: s.TotalOutAh, TotalGasAh: s.TotalGassingAh,
		Charges: s.Charges, Fulls: s.ChargesFull,
	}
}

// Valid tells whether the memory can be one that was saved.
func (m *Memory) Valid() bool {
	for _, x := range []float64{
		m.SinceAgoS, m.FlowS, m.FullAgoS, m.EndedAgoS, m.InAh, m.OutAh, m.BackAh, m.GassingAh,
		m.Soc, m.SocPlus, m.TotalInAh, m.TotalOutAh, m.TotalGasAh,
	} {
		if math.IsNaN(x) || math.IsInf(x, 0) || x > 1e12 || x < -1e12 {
			return false
		}
	}
	return m.Evidence <= uint8(HandGravity) && m.FlowS >= 0 && m.EndedAgoS >= 0 && m.FullAgoS >= 0 && m.TotalGasAh >= 0
}

// Restore takes back a memory at the start of a new life, before the first
// step, which will be at now. The gap is the time since it was saved as far as
// it is proven; when it is not, nothing is kept that a charge, a machine at
// work or another pack in the gap could have changed: the pack counts as not
// full, and its rest starts now.
func (t *Tracker) Restore(m *Memory, now, gap time.Duration, proven bool) {
	at := func(agoS float64) time.Duration { return now - gap - time.Duration(agoS*float64(time.Second)) }
	t.started, t.last = true, now
	s := &t.s
	*s = Status{
		Since: now, TotalInAh: m.TotalInAh, TotalOutAh: m.TotalOutAh, TotalGassingAh: m.TotalGasAh,
		Charges: m.Charges, ChargesFull: m.Fulls,
	}
	if m.Ended || m.Active {
		s.Ended, s.EndedAt = true, now
	}
	if !proven {
		return
	}
	s.Active, s.Since, t.flowS = m.Active, at(m.SinceAgoS), m.FlowS
	s.Full, s.Evidence, s.FullAt = m.Full, Evidence(m.Evidence), at(m.FullAgoS)
	s.Ended, s.EndedAt = m.Ended, at(m.EndedAgoS)
	s.InAh, s.OutAh, s.OutKnown, t.backAh, s.GassingAh = m.InAh, m.OutAh, m.OutKnown, m.BackAh, m.GassingAh
	s.Soc, s.SocPlus, s.SocKnown = m.Soc, m.SocPlus, m.SocKnown
	t.flow.since = now
	s.MaxPackC = math.Inf(-1)
}
