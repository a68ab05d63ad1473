package charge

import (
	"math"
	"slices"
)

// What the voltage of a finish proves. At a finishing current the part that still charges
// vanishes by a time constant, and by Tafel the voltage rises by the logarithm of the rest
// that gasses: what still goes in is that part times its time constant. Chargers that end
// by a timer often end here, while the voltage still rises.
const (
	riseLeast = 5      // marks that show it, 40 min
	riseSDV   = 0.0008 // scatter of a mark's voltage: noise, and what warming does to it
	riseShare = 0.05   // the same as a share of their rise: cells differ
	// riseMost is what may be missing, as a share of the capacity.
	riseMost = 0.035
	// rapidV is gassing of both plates (TM 10-6140-200-14: normal at 2.40 V, rapid at
	// 2.50); at less one may still charge.
	rapidV = 2.45
)

// riseLeft returns the most that may still go in, as a share of the capacity, of all
// charging parts and time constants that fit the last marks. Each number of marks that one
// pair fits gives a bound, and the least one counts: a rise from one plate's gassing to the
// other's is in the longer ones.
func (p *plateau) riseLeft(capacityAh float64) (most float64, ok bool) {
	var r rise
	n := 0
	for ; n < marks; n++ {
		m, has := p.back(n)
		if !has || m.v25 < rapidV || m.i < deadRate*capacityAh || m.i > readRate*capacityAh {
			break
		}
		r.v[n], r.i[n], r.lnI[n] = m.v25, m.i, math.Log(m.i)
	}
	m, _ := p.back(0)
	most = math.Inf(1)
	for ; n >= riseLeast; n-- {
		if left, fits := r.left(n, slowH/coldRate(m.c)); fits {
			most, ok = min(most, left*m.i/capacityAh), true
		}
	}
	return most, ok
}

// rise is voltage and current of some marks, the last one first.
type rise struct{ v, i, lnI [marks]float64 }

// left returns the most charging share times time constant, h, that fits n marks.
func (r *rise) left(n int, slowestH float64) (most float64, ok bool) {
	type fit struct{ sd, left float64 }
	var fits []fit
	best := math.Inf(1)
	for takesH := 0.2; takesH <= slowestH*1.01; takesH *= 1.15 {
		for share := 0.01; share < 0.97; share *= 1.2 {
			sd := r.scatter(n, share, takesH)
			best = min(best, sd)
			fits = append(fits, fit{sd, share * takesH})
		}
	}
	mostV := max(riseSDV, riseShare*(slices.Max(r.v[:n])-slices.Min(r.v[:n])))
	for _, f := range fits {
		if f.sd <= mostV+best {
			most = max(most, f.left)
		}
	}
	return most, best <= mostV
}

// scatter returns by how much the voltages scatter about what a charging part makes of
// them, V.
func (r *rise) scatter(n int, share, takesH float64) float64 {
	sum, sum2 := 0.0, 0.0
	for k := range n {
		gas := 1 - share*r.i[0]/r.i[k]*math.Exp(float64(k)*markEvery.Hours()/takesH)
		if gas <= 0.02 {
			return math.Inf(1)
		}
		u := r.v[k] - tafelV*(r.lnI[k]+math.Log(gas))
		sum, sum2 = sum+u, sum2+u*u
	}
	mean := sum / float64(n)
	return math.Sqrt(max(sum2/float64(n)-mean*mean, 0))
}

// judgeRise judges the voltage of a finish that is not steady yet. It always waits for the
// rest: one reading more or less decides whether a mark fits.
func (t *Tracker) judgeRise(m *mark) {
	capAh := t.cfg.CapacityAh
	if !t.plateau.current || tooMuch(m, capAh, oldestTimes) {
		return
	}
	if left, ok := t.plateau.riseLeft(capAh); ok && left <= riseMost && t.proof.start.takes() {
		t.awaitRest(FinishRise)
	}
}
