package charge

import (
	"math"
	"time"
)

// Memory is what must survive a restart. Times are ages at the moment of saving,
// because a clock that starts again is unrelated to the old one.
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

	Pending     uint8   `json:"pending,omitempty"`
	Doubt       uint8   `json:"doubt,omitempty"`
	UnseenAh    float64 `json:"unseen_ah,omitempty"`
	CeilingS    float64 `json:"ceiling_s,omitempty"`
	CeilingAh   float64 `json:"ceiling_ah,omitempty"`
	RoundOutAh  float64 `json:"round_out_ah,omitempty"`
	RoundBackAh float64 `json:"round_back_ah,omitempty"`
	RoundOK     bool    `json:"round_ok,omitempty"`
	Depth       float64 `json:"depth,omitempty"`
	DepthKnown  bool    `json:"depth_known,omitempty"`
	SelfShare   float64 `json:"self_share,omitempty"`
	EqualCycles int     `json:"equalize_cycles,omitempty"`
	EqualAgoS   float64 `json:"equalize_ago_s,omitempty"`
	EqualAfterS float64 `json:"equalize_after_s,omitempty"`
	Spread      float64 `json:"spread,omitempty"`
	SpreadKnown bool    `json:"spread_known,omitempty"`
	Unmixed     uint64  `json:"unmixed,omitempty"` // bit n: cell n+1
	MixedS      float64 `json:"mixed_s,omitempty"`

	// What goes on over a restart; a memory without it is of an older program.
	CeilingFull bool       `json:"ceiling_full,omitempty"` // the ceiling counts since full
	FlowAgoS    *float64   `json:"flow_ago_s,omitempty"`   // since current last flowed
	Flowing     bool       `json:"flowing,omitempty"`
	MayFlow     bool       `json:"may_flow,omitempty"` // the permit was granted
	FlowA       float64    `json:"flow_a,omitempty"`
	GasA        float64    `json:"gas_a,omitempty"`
	Collapsed   bool       `json:"collapsed,omitempty"`
	BulkMarks   int        `json:"bulk_marks,omitempty"`
	Proven      bool       `json:"proven,omitempty"` // the last charge, though the pack may have worked since
	Run         *RunMemory `json:"run,omitempty"`
	Resting     bool       `json:"resting,omitempty"`
	RestAgoS    float64    `json:"rest_ago_s,omitempty"`
	RestV       float64    `json:"rest_v,omitempty"`
	LowForS     *float64   `json:"low_for_s,omitempty"` // rests too low for full
	AgedH       float64    `json:"aged_h,omitempty"`
	// UnsavedGasAh is Status.UnsavedGasAh.
	UnsavedGasAh float64 `json:"unsaved_gassing_ah,omitempty"`
	// GasTimes is the pack's gassing over that by the law, 0 when it was not learned.
	GasTimes float64 `json:"gas_times,omitempty"`

	// Moved is set by who restores it: the pack was taken away since, so it may have
	// been used, however short the gap.
	Moved bool `json:"-"`
}

// SavedWithin is how old a memory may be when the power fails: see bay.SavedWithin.
const SavedWithin = 10 * time.Minute

// Memory returns what must survive a restart, as of the last step.
func (t *Tracker) Memory() Memory {
	s := &t.s
	ago := func(at time.Duration) float64 { return (t.last - at).Seconds() }
	m := Memory{
		Active: s.Active, SinceAgoS: ago(s.Since), FlowS: t.session.flowS, Full: s.Full, Evidence: evidenceCodes[s.Evidence],
		FullAgoS: ago(s.FullAt), Ended: s.Ended, EndedAgoS: ago(s.EndedAt), InAh: s.InAh, OutAh: s.OutAh,
		OutKnown: s.OutKnown, BackAh: t.count.backAh, GassingAh: s.GassingAh, Soc: s.Soc, SocPlus: s.SocPlus,
		SocKnown: s.SocKnown, TotalInAh: s.TotalInAh, TotalOutAh: s.TotalOutAh, TotalGasAh: s.TotalGassingAh,
		Charges: s.Charges, Fulls: s.ChargesFull,

		Pending: evidenceCodes[s.Pending], Doubt: uint8(s.Doubt), UnseenAh: t.count.unseenAh,
		CeilingS: t.ceiling.flowS, CeilingAh: t.ceiling.ah,
		RoundOutAh: t.session.outAh, RoundBackAh: t.session.backAh, RoundOK: t.session.outOK,
		Depth: s.DepthBefore, DepthKnown: s.DepthKnown, SelfShare: t.rest.selfOut,
		EqualCycles: t.equal.cycles, EqualAfterS: t.equal.afterS,
		Spread: s.Equalize.Spread, SpreadKnown: s.Equalize.SpreadKnown,
		Unmixed: t.cells.unmixed, MixedS: t.cells.mixedS,

		CeilingFull: t.ceiling.afterFull, Flowing: t.flow.on, Collapsed: t.proof.collapsed, BulkMarks: t.proof.bulkMarks, Proven: t.proof.proven,
		Run: t.run.memory(t.last), Resting: t.rest.resting, UnsavedGasAh: s.UnsavedGasAh,
		GasTimes: t.gas.times,
	}
	if t.equal.begun {
		m.EqualAgoS = ago(t.equal.at)
	}
	if t.ceiling.wasOn {
		m.FlowAgoS = new(ago(t.ceiling.onAt))
	}
	if t.flow.on {
		m.FlowA, m.GasA = max(t.count.a, 0), t.count.gas
	}
	if r := &t.rest; r.resting {
		m.RestAgoS, m.RestV, m.AgedH = ago(r.since), r.v, r.agedH
		if r.low {
			m.LowForS = new(ago(r.lowAt))
		}
	}
	return m
}

// most bounds the values in a memory, s and Ah: 31 years, which still fits a
// duration.
const most = 1e9

// Valid reports whether the memory can be one that was saved.
func (m *Memory) Valid() bool {
	if !allFinite(
		m.SinceAgoS, m.FlowS, m.FullAgoS, m.EndedAgoS, m.InAh, m.OutAh, m.BackAh, m.GassingAh,
		m.Soc, m.SocPlus, m.TotalInAh, m.TotalOutAh, m.TotalGasAh, m.UnseenAh, m.CeilingS, m.CeilingAh,
		m.RoundOutAh, m.RoundBackAh, m.Depth, m.SelfShare, m.EqualAgoS, m.EqualAfterS, m.Spread, m.MixedS,
		m.FlowA, m.GasA, m.RestAgoS, m.RestV, m.AgedH, m.UnsavedGasAh, m.GasTimes, orZero(m.FlowAgoS), orZero(m.LowForS),
	) || !m.Run.valid() {
		return false
	}
	return m.Evidence < uint8(numEvidence) && m.Pending < uint8(numEvidence) && m.Doubt < uint8(numDoubts) &&
		m.FlowS >= 0 && m.TotalGasAh >= 0 && m.CeilingS >= 0 && m.EqualCycles >= 0 &&
		m.FlowA >= 0 && m.GasA >= 0 && m.UnsavedGasAh >= 0 && m.BulkMarks >= 0 && m.GasTimes >= 0 && m.GasTimes <= oldTimes && m.RestAgoS >= 0 && m.AgedH >= 0 && orZero(m.FlowAgoS) >= 0 && orZero(m.LowForS) >= 0 &&
		(!m.Ended || m.EndedAgoS >= 0) && (!m.Full || m.FullAgoS >= 0)
}

func orZero(x *float64) float64 {
	if x == nil {
		return 0
	}
	return *x
}

// Restore restores a memory at start, before the first step, which is at now. gap
// is the time since it was saved, if proven. If the gap is unproven, or longer than
// a gap in the readings may be, or the pack was moved, Restore drops everything that
// a charge, a machine at work or another pack could have changed in it: the pack
// counts as not full, and its rest starts now. The ceilings of a charge and the
// windows of a runaway go on over any gap.
func (t *Tracker) Restore(m *Memory, now, gap time.Duration, proven bool) {
	if !proven {
		gap = 0
	}
	at := func(agoS float64) time.Duration { return now - gap - time.Duration(agoS*float64(time.Second)) }
	t.started, t.last = true, now
	s := &t.s
	*s = Status{
		Since: now, TotalInAh: m.TotalInAh, TotalOutAh: m.TotalOutAh, TotalGassingAh: m.TotalGasAh,
		Charges: m.Charges, ChargesFull: m.Fulls, MaxPackC: math.Inf(-1),
		DepthBefore: m.Depth, DepthKnown: m.DepthKnown, Doubt: Doubt(m.Doubt),
	}
	t.equal = equalizer{cycles: m.EqualCycles, at: at(m.EqualAgoS), begun: true}
	s.Equalize.Spread, s.Equalize.SpreadKnown = m.Spread, m.SpreadKnown
	if m.Ended || m.Active {
		s.Ended, s.EndedAt = true, now
	}
	t.cells = gravities{unmixed: m.Unmixed, mixedS: m.MixedS}
	t.restoreCeiling(m, now, gap, proven)
	t.run.restore(m.Run, now)
	t.proof.collapsed, t.proof.proven = m.Collapsed, m.Proven || m.Full
	t.proof.start.judged = m.Active // how it began is not stored, and a restart proves nothing sooner
	t.gas.times = m.GasTimes
	if !proven || gap > gapMax || m.Moved {
		return
	}
	s.Active, s.Since = m.Active, at(m.SinceAgoS)
	s.Full, s.Evidence, s.FullAt = m.Full, evidenceOf(m.Evidence), at(m.FullAgoS)
	s.Ended, s.EndedAt = m.Ended, at(m.EndedAgoS)
	s.InAh, s.OutAh, s.OutKnown, s.GassingAh = m.InAh, m.OutAh, m.OutKnown, m.GassingAh
	s.Soc, s.SocPlus, s.SocKnown, s.Pending = m.Soc, m.SocPlus, m.SocKnown, evidenceOf(m.Pending)
	t.count.backAh, t.count.unseenAh = m.BackAh, m.UnseenAh
	t.session = session{flowS: m.FlowS, outAh: m.RoundOutAh, outOK: m.RoundOK, backAh: m.RoundBackAh, full: m.Full}
	t.equal.afterS, t.proof.bulkMarks = m.EqualAfterS, m.BulkMarks
	t.restoreRest(m, now, gap)
	t.flow.since, t.flow.rawAt = now, now
}
