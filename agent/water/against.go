package water

import "math"

// Level readings that err to one side. The probe's cell is the only one of which a
// reading can be judged by something else than readings: by its probe.
const (
	// againstOf readings must all be on one side of the probe, by offMM on average: a
	// probe may be off by 1 mm for good, and the average of four differs from that by
	// 0.5 mm at random (rodSD and probeSD together, over two).
	againstOf        = 4
	offMM, offOverMM = 2.0, 1.5
	// missedMM is more than a reader or a probe may be off: another cell, or a slip.
	missedMM = 6.0
	// sharpMM is the most that a probe may leave open to judge a reading.
	sharpMM = 1.0
)

// against is how far the last readings in the probe's cell are above the probe.
type against struct {
	mm    [againstOf]float64 // the newest last
	n     int
	named bool
}

func (a *against) list() []float64 { return a.mm[:a.n] }

func (a *against) add(mm float64) {
	if a.n == againstOf {
		copy(a.mm[:], a.mm[1:])
		a.n--
	}
	a.mm[a.n] = mm
	a.n++
}

// judge returns by how much the readings are off on average, 0 if they are not, or not
// all to one side. What it has named must come nearer before it is named no more.
func (a *against) judge() float64 {
	sum, same := 0.0, a.n == againstOf
	for _, mm := range a.list() {
		sum += mm
		same = same && mm*a.mm[0] > 0
	}
	least := offMM
	if a.named {
		least = offOverMM
	}
	mean := sum / againstOf
	a.named = same && math.Abs(mean) >= least
	if !a.named {
		return 0
	}
	return mean
}

// compareProbe takes a level that was read in the probe's cell by the rod, while the
// electrolyte is calm and before water was poured into it in this visit: who pours and
// then enters what was read before reads nothing wrong.
func (b *Balance) compareProbe(number int, settledMM, sd float64) {
	if number != b.cfg.Pilot || sd != rodSD || !b.probeCalm || b.spanMM > sharpMM || b.atCells && b.given[number-1] != 0 {
		return
	}
	off := settledMM - b.lowMM - b.spanMM/2
	if !(math.Abs(off) <= missedMM) {
		return
	}
	b.againstBefore, b.againstUndo = b.against, true
	b.against.add(off)
	b.s.ReadOffMM = b.against.judge()
}

// unreadProbe takes the last such reading of the open visit back.
func (b *Balance) unreadProbe(number int) {
	if number == b.cfg.Pilot && b.againstUndo {
		b.against, b.againstUndo = b.againstBefore, false
		b.s.ReadOffMM = b.against.judge()
	}
}

func againstValid(mm []float64) bool {
	for _, x := range mm {
		if !(math.Abs(x) <= missedMM) {
			return false
		}
	}
	return len(mm) <= againstOf
}
