package bay

import (
	"time"

	"bayward/agent/ammeter"
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
	moved := false
	s.CurrentA, moved = b.meter.Step(&ammeter.Inputs{
		Now: now, CurrentA: s.CurrentA, CellV: cellV, Feedback: s.ContactorClosed,
		Open: !b.lock.Granted() && s.Keeper == KeeperObeys, Probe: s.Level.Usable(),
	})
	b.pic.Amps = *b.meter.Status()
	if moved {
		b.events = append(b.events, Event{At: now, Kind: ZeroMoved, ZeroA: b.pic.Amps.ZeroA})
	}
}

// strayA is the current that may be nothing, A: the offset of a sensor or, where that is
// more, its noise.
func (b *Bay) strayA() float64 {
	return max(strayRate*b.history.pack.CapacityAh, b.pic.Amps.BandA)
}
