package water

import (
	"math"
	"time"
)

// Memory is what must survive a restart. Lists that an older program's memory lacks
// are empty.
type Memory struct {
	OffsetMM  []float64 `json:"offset_mm"`
	Anchored  bool      `json:"anchored,omitempty"`
	AnchorMM  float64   `json:"anchor_mm"`
	AnchorAh  float64   `json:"anchor_ah"`
	BeganAgoS float64   `json:"began_ago_s"`
	BeganAh   float64   `json:"began_ah"`
	Began     bool      `json:"began,omitempty"`

	Cells   []Cell    `json:"cells,omitempty"`
	StrayMM float64   `json:"stray_mm,omitempty"`
	Visits  int       `json:"visits,omitempty"`
	DaysML  []float64 `json:"days_ml,omitempty"`
	DayAh   float64   `json:"day_ah,omitempty"`
	Scale   float64   `json:"scale,omitempty"`
	ScaleSE float64   `json:"scale_se,omitempty"`
	Due     bool      `json:"due,omitempty"` // the call for water was made
}

// Memory returns what must survive a restart, as of the last step.
func (b *Balance) Memory() Memory {
	m := Memory{
		Anchored: b.anchored, AnchorMM: b.anchorMM, AnchorAh: b.anchorAh,
		BeganAgoS: (b.last - b.beganAt).Seconds(), BeganAh: b.beganAh, Began: b.began,
		StrayMM: b.strayMM, Visits: b.visits, DaysML: append([]float64(nil), b.use.daysML[:b.use.n]...), DayAh: b.use.beganAh,
		Scale: b.use.scale, ScaleSE: b.use.scaleSE,
		OffsetMM: []float64{}, Due: b.due,
	}
	for i := range b.cfg.Cells {
		c := &b.cells[i]
		m.OffsetMM = append(m.OffsetMM, c.OffsetMM)
		m.Cells = append(m.Cells, *c)
	}
	return m
}

// Valid reports whether the memory can be one that was saved for this pack.
func (m *Memory) Valid(cells int) bool {
	if len(m.OffsetMM) != cells || len(m.Cells) != cells && len(m.Cells) != 0 || len(m.DaysML) > daysKept || m.Visits < 0 {
		return false
	}
	for _, list := range [][]float64{{m.AnchorMM, m.AnchorAh, m.BeganAgoS, m.BeganAh, m.DayAh, m.StrayMM}, m.OffsetMM, m.DaysML} {
		if !allSane(list) {
			return false
		}
	}
	for i := range m.Cells {
		if !m.Cells[i].valid() {
			return false
		}
	}
	scaleOK := m.Scale == 0 && m.ScaleSE == 0 || m.Scale >= 0.2 && m.Scale <= 5 && m.ScaleSE >= 0 && m.ScaleSE <= scaleSpread
	return m.BeganAgoS >= 0 && scaleOK
}

func (c *Cell) valid() bool {
	return sane(c.LowMM) && c.LowMM <= 0 && sane(c.HighMM) && c.HighMM >= 0 && c.Use >= leastUse && c.Use <= mostUse &&
		sane(c.ReadAh) && sane(c.PouredML) && sane(c.FilledML) && c.FilledML >= 0
}

func allSane(list []float64) bool {
	for _, x := range list {
		if !sane(x) {
			return false
		}
	}
	return true
}

func sane(x float64) bool { return math.Abs(x) <= 1e12 } // false for NaN

// Restore restores a memory before the first step. Cells stay as they were last
// filled and measured, however long the gap.
func (b *Balance) Restore(m *Memory, now, gap time.Duration) {
	for i := range b.cfg.Cells {
		if i < len(m.Cells) {
			b.cells[i] = m.Cells[i]
		}
		b.cells[i].OffsetMM = m.OffsetMM[i]
		b.doubt(i)
	}
	b.anchored, b.anchorMM, b.anchorAh, b.strayMM = m.Anchored, m.AnchorMM, m.AnchorAh, m.StrayMM
	b.began, b.beganAh, b.last = m.Began, m.BeganAh, now
	b.beganAt = now - gap - time.Duration(m.BeganAgoS*float64(time.Second))
	b.restoreUse(m)
	b.visits, b.diffs.outdated, b.due = m.Visits, true, m.Due
	b.judgeFills()
}

// restoreUse restores the days; a memory without them begins a new day.
func (b *Balance) restoreUse(m *Memory) {
	if m.Scale > 0 {
		b.use.scale, b.use.scaleSE = m.Scale, m.ScaleSE
	}
	if len(m.Cells) == 0 {
		return
	}
	b.use.n = copy(b.use.daysML[:], m.DaysML)
	b.use.day = int64(time.Duration(m.BeganAgoS*float64(time.Second)) / day)
	b.use.beganAh, b.use.begun = m.DayAh, m.Began
}
