package water

import (
	"math"

	"bayward/agent/electrolyte"
)

const (
	// habitSpread is how much the use changes from one month to the next (the project's
	// own).
	habitSpread = 0.16
	// cellsUse is how much sound cells of a pack differ in their use: a tenth (common
	// practice, no source), and what is not sound. cellsMM is how much their levels
	// differ before anybody has read them.
	cellsUse, cellsMM = 0.14, usualSD
	// filledMM is cellsMM after a visit that filled each cell by measure or to its mark.
	filledMM = 0.8
	// partedUse is cellsUse for cells that nobody levels, whose lowest is the worst.
	partedUse = 0.18
	// Both are themselves uncertain: by so much, as a share of the loss and in mm, the
	// lowest of a dozen cells is off.
	cellsAlike, cellsAlikeMM = 0.07, 0.7
	// pilotSD is the error of the pilot's level, mm, when noise has been smoothed out.
	pilotSD = 0.8
	// scaleDOF is for a spread that is itself known from about so many figures:
	// Student's distribution instead of the normal one.
	scaleDOF = 8.0
	// tail is the share outside a range, on each side.
	tail = (1 - ForecastCoverage) / 2
	// lossNodes and standNodes are how many values of an uncertain figure are tried.
	lossNodes, standNodes = 12, 4
	sureZ                 = 4.0 // beyond so many standard deviations a cell is sure
	// readerPart is the usual part of what a reader may always be off.
	readerPart  = 0.3
	pilotLost   = 0.1 // by how much the pilot's use may differ from that of the pack's mean cell
	countSpread = 0.02
)

// cellAhead is where a cell is, and how fast it loses water over the pilot; or several
// cells of which the same is known.
type cellAhead struct {
	mm, sd     float64
	use, useSD float64
	n          int
}

// passage is when the lowest of a pack's cells passes the lowest level for charging.
type passage struct {
	cells    [MaxCells]cellAhead
	n        int
	limitMM  float64
	scale    float64
	variance float64 // of the use and the gassing law, relative
	spread   float64 // of the loss until the limit, relative
	use      habits
	perMM    float64 // ml in a millimetre
}

// passage collects what is known now.
func (b *Balance) passage() *passage {
	p := &passage{limitMM: b.cfg.ChargeLevelMM, scale: b.steady.scale, perMM: b.ml(1)}
	_, se := b.scaleNow()
	p.variance = square(se/p.scale) + square(habitSpread) + square(cellsAlike)
	first := firstNight * b.cfg.ElectrolyteML
	since := b.last - b.beganAt
	today := min(max(float64(since%day)/float64(day), 0), 1)
	p.use = b.use.habitsNow(today, first)
	b.use.standing(&p.use, today, electrolyte.WaterML(b.gassingAh-b.use.beganAh), first)
	p.variance += p.use.chance / max(p.use.nights, 0.5)
	for i := range b.cfg.Cells {
		p.add(b.ahead(i))
	}
	left := max(b.s.SettledMM-p.limitMM, 2*pilotSD)
	needed := max(p.perMM*max(left-cellsMM, pilotSD)/p.scale, p.use.night/2) // the lowest needs less
	p.spread = math.Sqrt(p.variance + square(b.alikeMM()/left) + p.use.chance*p.use.night/needed)
	return p
}

func (p *passage) add(c cellAhead) {
	for i := range p.n {
		if q := &p.cells[i]; q.mm == c.mm && q.sd == c.sd && q.use == c.use && q.useSD == c.useSD {
			q.n++
			return
		}
	}
	c.n = 1
	p.cells[p.n], p.n = c, p.n+1
}

// ahead returns what is known of one cell.
func (b *Balance) ahead(i int) cellAhead {
	pilot := b.steady.levelMM(b)
	if b.visit {
		pilot = b.pilotFor(i)
	}
	switch {
	case b.fixed(i):
		return b.readAhead(i)
	case i+1 == b.cfg.Pilot && !b.cells[i].Dry:
		return cellAhead{mm: min(pilot, max(b.pilotRodMM(), pilot-readerMM)), sd: pilotSD / 2, use: 1}
	}
	// A cell that nobody has read: a usual one beside the pilot, lower by what is known
	// to have been poured into the pilot alone. Its own use parts it from the pilot until a
	// visit fills each cell by measure or to its mark.
	lost := b.use.scale * b.mm(electrolyte.WaterML(b.gassingAh-max(b.beganAh, b.levelAh)))
	beside := cellsMM
	if b.levelAh > b.beganAh {
		beside = filledMM
	}
	sd := math.Sqrt(square(beside) + square(min(partedUse*lost, 5*cellsMM)))
	off := min(b.likelyMM(i)+b.s.UnrecordedMM, 0) - b.s.UnrecordedMM
	return cellAhead{mm: pilot + off, sd: sd, use: b.fillUse[i], useSD: cellsUse * b.fillUse[i]}
}

// readAhead is for a cell that a rod has read. The careful rate of known.go and that of
// a usual cell of this pack are weighed by how sure they are.
func (b *Balance) readAhead(i int) cellAhead {
	c := &b.know.cells[i]
	const careful = firstRateSD * firstRateSD
	scale := b.steady.scale
	weight, usual := max(1/max(c.RateVar, 1e-4)-1/careful, 0), 1/square(cellsUse*scale)
	rate := scale
	if weight > 0 {
		own := min(max((c.Rate/max(c.RateVar, 1e-4)-firstRate/careful)/weight, leastRate), mostRate)
		rate = (weight*own + usual*scale) / (weight + usual)
	}
	spread := 1 / math.Sqrt(weight+usual)
	lost := b.lostSince(c)
	sd := math.Sqrt(c.Var/2 + square(spread*lost))
	return cellAhead{mm: c.LevelMM - rate*lost, sd: min(sd, lostSD), use: rate / scale, useSD: spread / scale}
}

// alikeMM returns by how much all levels may be off alike: the probe, or the reader of
// the rod.
func (b *Balance) alikeMM() float64 {
	worst := pilotSD
	if b.visits == 0 {
		worst = math.Hypot(pilotSD, cellsAlikeMM)
	}
	for i := range b.cfg.Cells {
		if c := &b.know.cells[i]; b.fixed(i) {
			worst = max(worst, math.Sqrt(c.Var/2+square(readerPart*c.BiasMM)))
		}
	}
	return worst
}

// above returns how likely all cells are still above the limit when the pilot has lost
// so many millimetres more.
func (p *passage) above(lostMM float64) float64 {
	all := 1.0
	for i := range p.cells[:p.n] {
		c := &p.cells[i]
		z := (c.mm - c.use*lostMM - p.limitMM) / math.Sqrt(square(c.sd)+square(c.useSD*lostMM))
		switch {
		case z > sureZ:
		case z < -sureZ:
			return 0
		default:
			one := 0.5 * math.Erfc(-z/math.Sqrt2)
			for range c.n {
				all *= one
			}
		}
	}
	return all
}

// later returns how likely the limit is passed later than in so many days.
func (p *passage) later(days float64) float64 {
	sum, stands := 0.0, standNodes
	if p.use.stand < 0.01 {
		stands = 1
	}
	for s := range stands {
		ml := p.use.over(min(p.use.standsOn((float64(s)+0.5)/float64(stands)), days), days)
		for _, z := range lossScores {
			sum += p.above(p.scale * ml / p.perMM * math.Exp(p.spread*z))
		}
	}
	return sum / float64(stands*lossNodes)
}

// after returns the time, h, before which the limit is passed with a likelihood, if it
// is not yet: how low a cell may already be is what the careful bound is for.
func (p *passage) after(likelihood float64) float64 {
	limit := (1 - likelihood) * p.above(0)
	low, high := 0.0, math.Log1p(mostForecastH/day.Hours())
	for range 14 {
		if mid := (low + high) / 2; p.later(math.Expm1(mid)) > limit {
			low = mid
		} else {
			high = mid
		}
	}
	return min(math.Expm1((low+high)/2)*day.Hours(), mostForecastH)
}

// lossScores are evenly likely values of Student's distribution, by the first terms of the
// expansion of Fisher and Cornish.
var lossScores = studentScores()

func studentScores() (out [lossNodes]float64) {
	for i := range out {
		z := math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/lossNodes-1)
		out[i] = student(z)
	}
	return out
}

func student(z float64) float64 {
	return z + (z*z*z+z)/(4*scaleDOF) + (5*math.Pow(z, 5)+16*z*z*z+3*z)/(96*scaleDOF*scaleDOF)
}

// lost sets how much water a cell has lost since the last fill, in the pack's mean: by the
// gassing law, as far as the measured level has not corrected it.
func (b *Balance) lost() {
	scale := b.steady.scale
	_, se := b.scaleNow()
	share := math.Sqrt(square(se/scale) + square(pilotLost) + square(countSpread))
	wide := math.Exp(share * student(1.645))
	b.s.LostLikelyML = b.s.LostML * scale
	b.s.LostLoML, b.s.LostHiML = b.s.LostLikelyML/wide, b.s.LostLikelyML*wide
}
