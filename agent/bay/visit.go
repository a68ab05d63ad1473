package bay

import (
	"time"

	"bayward/agent/order"
)

// VisitForgottenAfter is how long a visit may be open before a reminder: a cell
// takes about two minutes, and the largest packs have 40. The project's own
// figure.
const VisitForgottenAfter = 90 * time.Minute

// VisitMemory is an open visit as stored.
type VisitMemory struct {
	By              string    `json:"by"`
	AgoS            float64   `json:"ago_s"`
	OnlyCoverPlates bool      `json:"only_cover_plates,omitempty"`
	GivenML         []float64 `json:"given_ml"`
	PilotMM         float64   `json:"pilot_mm"`
	PilotOK         bool      `json:"pilot_ok,omitempty"`
	// What else was done; absent in memories saved before these fields existed.
	Cells   []CellVisit `json:"cells,omitempty"`
	USPerCM *float64    `json:"us_per_cm,omitempty"`
}

// visitStart is the settled level of the pilot cell when the visit opened.
type visitStart struct {
	pilotMM float64
	known   bool
}

// storedVisit returns nil when no visit is open.
func storedVisit(v *Visit, start *visitStart, now time.Duration, cells int) *VisitMemory {
	if !v.Open {
		return nil
	}
	m := &VisitMemory{
		By: v.By, AgoS: (now - v.Since).Seconds(), OnlyCoverPlates: v.OnlyCoverPlates,
		GivenML: append([]float64{}, v.GivenML[:cells]...), PilotMM: start.pilotMM, PilotOK: start.known,
	}
	m.remember(v, cells)
	return m
}

// restored returns the visit as it was when it was stored.
func (m *VisitMemory) restored(at time.Duration) (Visit, visitStart) {
	v := Visit{Open: true, By: m.By, Since: at - agoOf(m.AgoS), OnlyCoverPlates: m.OnlyCoverPlates}
	copy(v.GivenML[:], m.GivenML)
	m.recall(&v)
	return v, visitStart{m.PilotMM, m.PilotOK}
}

func agoOf(s float64) time.Duration {
	const most = 1e8 // seconds: three years
	if !(s >= 0 && s <= most) {
		return 0
	}
	return time.Duration(s * float64(time.Second))
}

// remember stores what was done at each cell.
func (m *VisitMemory) remember(v *Visit, cells int) {
	m.Cells = append(m.Cells, v.Cells[:cells]...)
	if v.QualityKnown {
		m.USPerCM = new(v.USPerCM)
	}
}

// recall restores it, without values that cannot be measurements.
func (m *VisitMemory) recall(v *Visit) {
	for i := range v.Cells[:copy(v.Cells[:], m.Cells)] {
		if c := &v.Cells[i]; c.LevelMM == nil || !order.LevelField.Holds(*c.LevelMM) {
			c.LevelMM, c.LevelLast = nil, false
		}
	}
	if m.USPerCM != nil && order.USPerCMField.Holds(*m.USPerCM) {
		v.USPerCM, v.QualityKnown = *m.USPerCM, true
	}
}
