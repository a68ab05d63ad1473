package bay

import (
	"math"
	"time"

	"bayward/agent/ammeter"
	"bayward/agent/cellcount"
	"bayward/agent/charge"
	"bayward/agent/reading"
)

func newMeter(s *Setup) *ammeter.Meter {
	return ammeter.New(ammeter.Config{
		Fitted: s.Fitted.Has(reading.PackCurrent), Feedback: s.Fitted.Has(reading.ContactorFeedback), Sensor: s.CurrentSensor,
	})
}

// measure takes the zero and the noise of the current sensor off its reading, and makes
// the reading a fault where they are too large.
func (b *Bay) measure(now time.Duration) {
	s := &b.pic.Seen
	cellV := s.PackV
	cellV.Value /= float64(b.history.pack.Cells)
	current, moved := b.meter.Step(&ammeter.Inputs{
		Now: now, CurrentA: s.CurrentA, CellV: cellV, Feedback: s.ContactorClosed,
		Open: !b.lock.Granted() && s.Keeper == KeeperObeys, Probe: s.Level.Usable(),
	})
	s.CurrentA, b.pic.Amps = current, *b.meter.Status()
	if moved {
		b.events = append(b.events, Event{At: now, Kind: ZeroMoved, ZeroA: b.pic.Amps.ZeroA})
	}
}

// strayA is the current that may be nothing, A: the offset of a sensor or, where that is
// more, its noise.
func (b *Bay) strayA() float64 {
	return max(strayRate*b.history.pack.CapacityAh, b.pic.Amps.BandA)
}

// presentA is the current above which a pack must be there although no voltage is read:
// one that flows by the sensor as it is and by its zero taken off. A zero that was learned
// and is no longer true makes a current out of none.
func (b *Bay) presentA() float64 { return max(b.strayA(), math.Abs(b.pic.Amps.ZeroA)) }

// countCells follows whether the pack has the number of cells that it is configured with.
func (h *history) countCells(o *packReadings, c *charge.Status, open bool) *cellcount.Status {
	packV := o.cellV
	packV.Value *= float64(h.pack.Cells)
	in := cellcount.Inputs{Now: o.now, PackV: packV, PackC: o.packC, CurrentA: o.currentA, Open: open}
	in.Gravity, in.GravityKnown = meanGravity(c.Gravity)
	h.cells.Step(&in)
	return h.cells.Status()
}

// meanGravity returns the mean gravity of a round in which at least half of the cells were
// read.
func meanGravity(g *charge.GravityRound) (mean float64, ok bool) {
	if g == nil || g.Sound == 0 || 2*g.Sound < g.Of {
		return 0, false
	}
	for i := range g.Cells[:g.Of] {
		if at := &g.Cells[i]; at.Verdict.Sound() {
			mean += at.SG25 / float64(g.Sound)
		}
	}
	return mean, true
}

// cellsFit returns the number of cells as the rules see it: another one than configured
// only where that is certain.
func cellsFit(s *cellcount.Status, configured int) int {
	switch s.Verdict {
	case cellcount.Fewer, cellcount.More:
		return s.Best
	case cellcount.Fits, cellcount.Undecided:
		return configured
	default:
		return 0
	}
}
