package bay

import (
	"time"

	"bayward/agent/alive"
	"bayward/agent/order"
	"bayward/agent/reading"
	"bayward/agent/water"
)

// aliveConfig is what the movements that the sensors must show depend on.
func aliveConfig(s *Setup, p *Pack) alive.Config {
	c := alive.Config{
		CapacityAh: p.CapacityAh, ElectrolyteML: p.ElectrolyteML, FreeSurfaceCM2: p.FreeSurfaceCM2, FullGravity: p.FullGravity,
		GasHoldUpMM: s.Limits.GasHoldUpMM, Current: s.Fitted.Has(reading.PackCurrent),
	}
	if len(s.Packs) > 0 { // the probe is in the pack, and so is a sensor by which it is recognised
		c.OfPack = reading.SensorsOf(reading.ElectrolyteLevel).With(reading.PackTemperature, s.Recognises)
	}
	return c
}

// doubtReadings follows which sensors live, and makes the readings of the others faults,
// so that they block like a broken wire.
func (b *Bay) doubtReadings(now time.Duration) {
	s, c, w := &b.pic.Seen, b.history.charge.Status(), b.history.water.Status()
	cellV := s.PackV
	cellV.Value /= float64(b.history.pack.Cells)
	b.alive.Step(&alive.Inputs{
		Now: now, Level: s.Level, CellV: cellV, CurrentA: s.CurrentA, PackC: s.PackC, AmbientC: s.AmbientC,
		Airflow: s.Airflow, Feedback: s.ContactorClosed, Complete: s.ChargerComplete,
		TotalInAh: c.TotalInAh, TotalGassingAh: c.TotalGassingAh,
		PredictMM: w.PredictMM + w.RiseMM, PredictOK: w.PredictOK && w.RiseKnown,
	})
	for i := range sensorTable {
		row := &sensorTable[i]
		why := b.alive.Fault(row.sensor)
		b.pic.Proofs[row.sensor].At, b.pic.Proofs[row.sensor].Known = b.alive.Proof(row.sensor)
		switch {
		case why == reading.None:
		case row.at == nil:
			if s.Level.Usable() {
				s.Level.Fault = why
			}
		case row.at(s).OK():
			row.at(s).Fault = why
		}
	}
}

// Proof is when a sensor last showed that it lives.
type Proof struct {
	At    time.Duration
	Known bool
}

// handRead compares a level that a rod showed in the cell of the probe with the probe.
func (b *Bay) handRead(cell int, mm float64) {
	if cell == b.history.pack.ProbeCell && b.identity.open != none {
		b.alive.ByHand(mm)
	}
}

// checksProbe reports whether a level reading is for the probe that is doubted: it is
// taken whatever else is known, because it is what ends the doubt.
func (b *Bay) checksProbe(cell int) bool {
	return cell == b.history.pack.ProbeCell && b.alive.Fault(reading.ElectrolyteLevel) != reading.None
}

// markOffMM is how far the level in the cell of the probe may be from the fill mark when
// its probe is right: what the eye and the probe may each be off.
const markOffMM = 3.0

// mustShowML returns the water of a visit by which the probe must rise; 0 where it is not
// known which cell has it. What was filled to the mark is worked out from the probe's own
// level, and so no better than that.
func (b *Bay) mustShowML(v *Visit, net *[water.MaxCells]float64) float64 {
	n := b.history.pack.ProbeCell
	switch {
	case n == 0:
		return 0
	case v.Cells[n-1].How == order.ToMark:
		return net[n-1] - markOffMM*b.history.pack.FreeSurfaceCM2/10
	}
	return net[n-1]
}
