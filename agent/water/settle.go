package water

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
)

const (
	edgeFor = 10 * time.Minute // how long a rod must stay dry before its height counts as the level
	edgeGap = time.Hour        // longest time between two looks at a rod; the level hardly moves in it
	sameMM  = 0.5              // tolerance of two spans that meet at one rod
)

// edge watches a probe that leaves much open: when the level has just passed a rod
// on its way down, it is at that rod.
type edge struct {
	lowMM, highMM float64 // span as measured
	at            time.Duration
	seen          bool
	passedMM      float64
	passedAt      time.Duration
	passed        bool
}

// look processes a span in calm electrolyte; ok reports that the level is at the
// height of a rod.
func (e *edge) look(now time.Duration, lowMM, highMM float64) (atMM float64, ok bool) {
	switch {
	case !e.seen || now-e.at > edgeGap:
		e.passed = false
	case lowMM == e.lowMM && highMM == e.highMM: // as before
	case highMM < e.highMM && math.Abs(highMM-e.lowMM) <= sameMM:
		e.passedMM, e.passedAt, e.passed = highMM, now, true
	default:
		e.passed = false
	}
	e.lowMM, e.highMM, e.at, e.seen = lowMM, highMM, now, true
	if !e.passed || now-e.passedAt < edgeFor {
		return 0, false
	}
	e.passed = false
	return e.passedMM, true
}

// thermal returns the rise of the level over that at 25 °C. It is recalculated only
// when the temperature has moved.
func (b *Balance) thermal(packC float64) float64 {
	const step = 0.1
	if d := packC - b.riseAtC; !b.riseSet || d > step || d < -step {
		b.riseMM = electrolyte.LevelRiseMM(b.cfg.ElectrolyteML, b.cfg.FreeSurfaceCM2, referenceC, packC, b.cfg.FullGravity)
		b.riseAtC, b.riseSet = packC, true
	}
	return b.riseMM
}

// isCalm reports whether the gas has left the electrolyte. A charge counts as ended only
// some time after its current, so the current itself decides as well.
func (b *Balance) isCalm(in *Inputs) bool {
	if in.Gassing {
		b.calmFrom = max(b.calmFrom, in.Now+calmFor)
		b.still.resting = false
	}
	return !in.Gassing && in.Now >= b.calmFrom && (!in.AnyCharge || in.Now-in.ChargeEnded >= calmFor)
}

// settle refers the measured level to 25 °C and no gas, and compares it with the
// balance while the electrolyte is calm.
func (b *Balance) settle(in *Inputs, dt time.Duration) {
	b.s.PredictOK = b.anchored
	if b.anchored {
		b.s.PredictMM = b.anchorMM - b.mm(b.s.LostML)
	}
	calm := b.isCalm(in)
	b.s.RiseKnown = in.PackC.OK()
	if b.s.RiseKnown {
		b.s.RiseMM = b.thermal(in.PackC.Value) + b.gasMM
	}
	if !in.Level.Usable() || !in.PackC.OK() {
		b.s.Known, b.open, b.held.pending, b.probeCalm = false, false, false, false
		return
	}
	low, high := in.Level.LowMM-b.s.RiseMM, in.Level.HighMM-b.s.RiseMM
	b.open = high-low > wideMM
	if b.open && calm && !b.visit {
		if at, ok := b.edge.look(in.Now, in.Level.LowMM, in.Level.HighMM); ok {
			b.passRod(at-b.s.RiseMM, in.GassingAh)
		}
	}
	b.begin(low, high, calm)
	b.lowMM, b.spanMM, b.probeCalm = low, high-low, calm
	if calm && !b.open && !b.atCells {
		b.unrecorded(b.still.look(in.Now, low, high, b.nowAt()))
	}
	b.s.Known = true
	switch {
	case !b.open:
		b.s.SettledMM = (low + high) / 2
	case b.anchored:
		b.s.SettledMM = min(max(b.s.PredictMM, low), high)
	default:
		b.s.Known = false
		return
	}
	b.watchHeld(in, dt, calm)
	if calm {
		b.compare(in.GassingAh)
		return
	}
	b.s.ApartMM, b.s.PredictOK = 0, false
}

// compare compares a calm level with the balance.
func (b *Balance) compare(gassingAh float64) {
	if !b.anchored {
		b.anchor(b.s.SettledMM, gassingAh)
		b.trustProbe(b.s.SettledMM)
	}
	b.s.ApartMM = b.s.SettledMM - b.s.PredictMM + b.strayMM
	if !b.open && !b.visit {
		b.teaches, b.calmMM, b.calmLostML = true, b.s.SettledMM, b.s.LostML
	}
}

// passRod restarts the balance from a rod. Its error remains a difference until the
// next fill: a leak must not be forgotten at each rod.
func (b *Balance) passRod(settledMM, gassingAh float64) {
	stray := 0.0
	if b.anchored {
		stray = b.strayMM + settledMM - b.s.PredictMM
		b.use.scale, b.use.scaleSE = b.use.learn(b.anchorMM-settledMM, b.mm(b.s.LostML))
	}
	b.anchor(settledMM, gassingAh)
	b.strayMM = stray
	b.probeKnown(settledMM)
}

func (b *Balance) anchor(settledMM, gassingAh float64) {
	b.anchored, b.anchorMM, b.anchorAh = true, settledMM, gassingAh
	b.s.PredictMM, b.s.PredictOK, b.s.LostML = settledMM, true, 0
	b.teaches, b.strayMM, b.diffs.outdated = false, 0, true
}

// trustProbe takes the pilot's level from its probe after a visit, if the probe has
// shown the water that was poured: a probe that does not move proves nothing.
func (b *Balance) trustProbe(settledMM float64) {
	const leastMM, tolMM, tolShare = 2.0, 1.0, 0.25
	r := &b.know.rise
	showed := settledMM - r.fromMM
	alive := r.pending && r.mm >= leastMM && b.spanMM <= tolMM && math.Abs(showed-r.mm) <= tolMM+tolShare*r.mm
	r.pending = false
	if alive {
		b.probeKnown(settledMM)
	}
}

// probeKnown takes the pilot's level from a probe that has just moved.
func (b *Balance) probeKnown(settledMM float64) {
	if b.cfg.Pilot == 0 || !b.know.cells[b.cfg.Pilot-1].Set {
		return
	}
	c := &b.know.cells[b.cfg.Pilot-1]
	c.advance(b.lostSince(c), b.gassingAh)
	c.measure(settledMM, probeSD, 0, b.last, false)
	b.know.outdated = true
}
