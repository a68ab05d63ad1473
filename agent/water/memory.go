package water

import (
	"math"
	"time"
)

// Memory is what must survive a restart.
type Memory struct {
	OffsetMM  []float64 `json:"offset_mm"`
	Anchored  bool      `json:"anchored,omitempty"`
	AnchorMM  float64   `json:"anchor_mm"`
	AnchorAh  float64   `json:"anchor_ah"`
	BeganAgoS float64   `json:"began_ago_s"`
	BeganAh   float64   `json:"began_ah"`
	Began     bool      `json:"began,omitempty"`
}

// Memory gives what must survive a restart, as of the last step.
func (b *Balance) Memory() Memory {
	return Memory{
		OffsetMM: append([]float64{}, b.offset[:b.cfg.Cells]...), Anchored: b.anchored, AnchorMM: b.anchorMM,
		AnchorAh: b.anchorAh, BeganAgoS: (b.last - b.beganAt).Seconds(), BeganAh: b.beganAh, Began: b.began,
	}
}

// Valid tells whether the memory can be one that was saved for this pack.
func (m *Memory) Valid(cells int) bool {
	if len(m.OffsetMM) != cells {
		return false
	}
	for _, x := range append([]float64{m.AnchorMM, m.AnchorAh, m.BeganAgoS, m.BeganAh}, m.OffsetMM...) {
		if math.IsNaN(x) || math.Abs(x) > 1e12 {
			return false
		}
	}
	return m.BeganAgoS >= 0
}

// Restore takes back a memory before the first step. Cells stay as people left
// them, however long the gap.
func (b *Balance) Restore(m *Memory, now, gap time.Duration) {
	copy(b.offset[:b.cfg.Cells], m.OffsetMM)
	b.anchored, b.anchorMM, b.anchorAh = m.Anchored, m.AnchorMM, m.AnchorAh
	b.began, b.beganAh = m.Began, m.BeganAh
	b.beganAt = now - gap - time.Duration(m.BeganAgoS*float64(time.Second))
}
