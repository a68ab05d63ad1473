package water

import (
	"slices"
	"time"
)

const (
	// heldKept is how many charges the measured hold-up is the median of: one alone may
	// be a level that foam or a slipped probe has moved.
	heldKept = 3
	// heldShare is the least part of the hold-up that must have built up, and heldSpanMM
	// the widest span that the probe may leave open.
	heldShare, heldSpanMM = 0.6, 1.0
	heldMostMM            = 20.0 // as much as the configuration accepts
	heldOver              = 10 * time.Minute
)

// held measures by how much gas among the plates raises the level: what it falls by,
// beyond the cooling of the acid, from the end of the gassing to calm. No published
// figure is known for traction cells, and a pack that holds more than is configured
// would be filled too high.
type held struct {
	upMM    float64 // mean level while gas forms, at 25 °C
	share   float64 // of the hold-up that had built up by then
	pending bool
	mm      [heldKept]float64 // of the last charges, the newest last
	n       int
}

// gassing takes a level at 25 °C, with its gas, while gas forms.
func (h *held) gassing(mm, share float64, dt time.Duration) {
	if !h.pending {
		h.upMM, h.pending = mm, true
	}
	h.upMM += (mm - h.upMM) * float64(dt) / float64(dt+heldOver)
	h.share = share
}

// calm takes the level after it, and reports whether that gave a measurement.
func (h *held) calm(mm float64) bool {
	if !h.pending {
		return false
	}
	if h.pending = false; h.share < heldShare {
		return false
	}
	if h.n == heldKept {
		copy(h.mm[:], h.mm[1:])
		h.n--
	}
	h.mm[h.n] = min(max((h.upMM-mm)/h.share, 0), heldMostMM)
	h.n++
	return true
}

// measured returns the median of the last charges; ok is false before there are enough.
func (h *held) measured() (mm float64, ok bool) {
	if h.n < heldKept {
		return 0, false
	}
	return medianOf(h.mm[:]), true
}

// heldValid reports whether such a list can have been stored.
func heldValid(mm []float64) bool {
	return len(mm) <= heldKept && !slices.ContainsFunc(mm, func(x float64) bool { return !(x >= 0 && x <= heldMostMM) })
}

// watchHeld follows the level over a charge. Between its end and calm nobody may have
// been at the cells.
func (b *Balance) watchHeld(in *Inputs, dt time.Duration, calm bool) {
	switch {
	case b.atCells || b.open || !in.Level.Usable() || b.spanMM > heldSpanMM:
		b.held.pending = false
	case in.Gassing && b.cfg.GasHoldUpMM > 0:
		b.held.gassing((in.Level.LowMM+in.Level.HighMM)/2-b.riseMM, b.gasMM/b.holdUpMM(), dt)
	case calm && b.held.calm(b.s.SettledMM):
		b.limitFills()
	}
}

// holdUpMM returns the configured hold-up, or the measured one where that is more.
func (b *Balance) holdUpMM() float64 {
	mm, _ := b.held.measured()
	return max(b.cfg.GasHoldUpMM, mm)
}

// limitFills works out the highest level that stays below the bottom of the vent well
// when the acid is hottest and holds the most gas.
func (b *Balance) limitFills() {
	b.s.HeldMM, b.s.HeldOK = b.held.measured()
	b.s.CeilingMM = b.cfg.VentWellMM - b.hotMM - b.holdUpMM() - spareMM
}
