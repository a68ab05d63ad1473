package bay

import (
	"time"

	"bayward/agent/order"
)

// VisitForgottenAfter is how long a visit may be open before people are
// reminded: a cell takes about two minutes, and the largest packs have 40. The
// project's own.
const VisitForgottenAfter = 90 * time.Minute

// remember stores what was done at the cells.
func (m *VisitMemory) remember(v *Visit, cells int) {
	for i := range v.Cells[:cells] {
		c := &v.Cells[i]
		kept := CellMemory{Done: c.Done, LevelLast: c.LevelLast}
		if c.LevelRead {
			mm := c.LevelMM
			kept.LevelMM = &mm
		}
		m.Cells = append(m.Cells, kept)
	}
	if v.QualityKnown {
		us := v.USPerCM
		m.USPerCM = &us
	}
}

// recall takes it back; what cannot be a measurement is left out.
func (m *VisitMemory) recall(v *Visit) {
	for i := range m.Cells[:min(len(m.Cells), len(v.Cells))] {
		kept, c := &m.Cells[i], &v.Cells[i]
		c.Done = kept.Done
		if kept.LevelMM != nil && order.LevelField.Holds(*kept.LevelMM) {
			c.LevelRead, c.LevelLast, c.LevelMM = true, kept.LevelLast, *kept.LevelMM
		}
	}
	if m.USPerCM != nil && order.USPerCMField.Holds(*m.USPerCM) {
		v.USPerCM, v.QualityKnown = *m.USPerCM, true
	}
}
