package bay

import (
	"time"

	"bayward/agent/order"
	"bayward/agent/water"
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
	// Who is in it; nil in memories saved before that, and then the one who opened it.
	People *[]LockMemory `json:"people,omitempty"`
	// ID is that of the order that opened it; absent in memories saved before that.
	ID string `json:"id,omitempty"`
}

// mostDrawnML is more than any cell holds.
const mostDrawnML = 1e5

// visitStart is the settled level of the pilot cell when the visit opened, and what
// the cells were given since, less what was drawn off.
type visitStart struct {
	pilotMM float64
	known   bool
	netML   [water.MaxCells]float64
}

// storedVisit returns nil when no visit is open.
func storedVisit(v *Visit, start *visitStart, now time.Duration, cells int) *VisitMemory {
	if !v.Open {
		return nil
	}
	m := &VisitMemory{
		ID: v.ID, By: v.By, AgoS: (now - v.Since).Seconds(), OnlyCoverPlates: v.OnlyCoverPlates,
		GivenML: append([]float64{}, v.GivenML[:cells]...), PilotMM: start.pilotMM, PilotOK: start.known,
	}
	m.remember(v, now, cells)
	return m
}

// restored returns the visit as it was when it was stored.
func (m *VisitMemory) restored(at time.Duration) (Visit, visitStart) {
	v := Visit{Open: true, By: m.By, Since: at - agoOf(m.AgoS), OnlyCoverPlates: m.OnlyCoverPlates}
	copy(v.GivenML[:], m.GivenML)
	m.recall(&v)
	if order.Printable(m.ID, order.MaxIDBytes) {
		v.ID = m.ID
	}
	v.People = Locks{{By: m.By, Since: v.Since}}
	if m.People != nil {
		v.People = restoredLocks(*m.People, at)
	}
	return v, visitStart{pilotMM: m.PilotMM, known: m.PilotOK, netML: v.net()}
}

func agoOf(s float64) time.Duration {
	const most = 1e8 // seconds: three years
	if !(s >= 0 && s <= most) {
		return 0
	}
	return time.Duration(s * float64(time.Second))
}

// noteBare keeps the cells that are bare by the record while the visit is open.
func (v *Visit) noteBare(cells water.CellSet) {
	v.Bare = 0
	if v.Open {
		v.Bare = cells
	}
}

// remember stores what was done at each cell.
func (m *VisitMemory) remember(v *Visit, now time.Duration, cells int) {
	m.Cells = append(m.Cells, v.Cells[:cells]...)
	m.People = new(storedLocks(v.People, now))
	if v.QualityKnown {
		m.USPerCM = new(v.USPerCM)
	}
}

// recall drops what cannot be a measurement. A level below the plate tops, which
// older programs took, means that the rod showed the plates.
func (c *CellVisit) recall() {
	if c.LevelMM != nil && *c.LevelMM < 0 {
		c.Dry = true
	}
	if c.LevelMM == nil || !order.LevelField.Holds(*c.LevelMM) {
		c.LevelMM, c.LevelLast = nil, false
	}
	if !(c.DrawnML >= 0 && c.DrawnML <= mostDrawnML) {
		c.DrawnML = 0
	}
	if c.Gravity == nil || c.AtC == nil || !order.GravityField.Holds(*c.Gravity) || !order.AtCField.Holds(*c.AtC) {
		c.Gravity, c.AtC = nil, nil
	}
}

// recall restores it, without values that cannot be measurements.
func (m *VisitMemory) recall(v *Visit) {
	for i := range v.Cells[:copy(v.Cells[:], m.Cells)] {
		v.Cells[i].recall()
	}
	if m.USPerCM != nil && order.USPerCMField.Holds(*m.USPerCM) {
		v.USPerCM, v.QualityKnown = *m.USPerCM, true
	}
}
