package water

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
)

// The careful side of the balance: for each cell, how low, and how high,
// its settled level may be by what was measured in that very cell. It does not follow
// the probe of another cell, so neither a stuck probe nor water that nobody recorded
// can lift it.
//
// A cell's level and its own rate of loss are estimated together (a Kalman filter of
// two states; R. E. Kalman, Trans. ASME J. Basic Eng. 82 (1960) 35). Each ampere-hour of
// gassing widens the estimate of the level by the uncertainty of the rate, each pour by
// the uncertainty of the amount; each reading narrows both. So a cell needs a reading
// often at first, and seldom when its rate is known.
const (
	// rodSD is the random error of a level rod with marks 1/16 in (1.6 mm) apart, and
	// readerMM what one reader may always read too high or too low: the angle, the
	// meniscus, the vent's edge. Repeats do not shrink it. A rod that rests on the plates
	// is right at their tops, so a low level is read too high by half of it at most.
	// Common practice, no source.
	rodSD, readerMM, readerShare = 0.6, 2.5, 0.5
	markSD                       = 1.5 // of a level that was filled to the mark, mm
	probeSD                      = 0.8 // of a level probe, mm
	// usualSD is how much the levels of a pack's cells differ before anybody read
	// them: common practice, no source.
	usualSD = 1.3
	// upgradeSD is the same for a pack that an older program looked after, mm.
	upgradeSD = 3.0
	// lostSD leaves a level unknown, and drySD how far it is below the plate tops, mm.
	lostSD, drySD = 30.0, 6.0
	// firstRate and firstRateSD are a cell's rate before it was learned, over that
	// by Faraday's law for the counted gassing: half to twice that of a usual cell,
	// and the count itself is a fit over many batteries.
	firstRate, firstRateSD = 1.15, 0.55
	leastRate, mostRate    = 0.2, 4.0
	// rateWalk is the variance that a rate gains with each millimetre lost: about a
	// sixth of it in a hundred millimetres, the use of a busy year.
	rateWalk = 0.16 * 0.16 / 100
	// pourSD is how accurately an amount is poured and recorded, guessSD one that was
	// poured as proposed, as shares of it; see pourShare.
	pourSD, guessSD = pourShare, 0.15
	// doubtVar is the variance, mm², of a reading that ends a doubt: who must read until
	// the charge goes on, reads more often, and a slip of two marks in one of many counts.
	doubtVar = 1.0
	// onceMM is how far a reading must be above what all of them show together for another
	// one to be asked for.
	onceMM = 1.0
	mostMM = 1e3 // no level or loss of a cell is more
	// lowZ and highZ are how many standard errors the bounds are away, and agreeZ how
	// many beyond a reader's own error two measurements may be apart.
	lowZ, highZ, agreeZ = 2.4, 2.0, 1.6
	rodHighZ            = 3.6 // highZ once a rod has read the cell
)

// KnownCell is what is known of one cell's level, as it is also stored. Lengths are
// settled, above the plate tops.
type KnownCell struct {
	LevelMM float64 `json:"mm"`       // likely level when GassingAh was AtAh
	Var     float64 `json:"var"`      // of LevelMM, mm²
	Rate    float64 `json:"rate"`     // loss over that by Faraday's law
	RateVar float64 `json:"rate_var"` //
	Cov     float64 `json:"cov"`      // of both, mm
	AtAh    float64 `json:"at_ah"`    // gassing total
	LowMM   float64 `json:"low_mm"`   // what contradicting evidence adds below, 0 or less
	HighMM  float64 `json:"high_mm"`  // and above, 0 or more
	BiasMM  float64 `json:"bias_mm"`  // what the reader may always be off
	Rod     bool    `json:"rod"`      // the last measurement was by a rod, not the probe
	ML      float64 `json:"ml"`       // net water of the open visit that is already in LevelMM
	ReadML  float64 `json:"read_ml"`  // of it, what was there before the last reading
	// UnseenMM is by how much the likely level counts on water that was recorded and that
	// no look at the cell has shown; the lower bound does not. UnseenVar is what was poured
	// since the last look adds to Var.
	UnseenMM  float64 `json:"unseen_mm,omitempty"`
	UnseenVar float64 `json:"unseen_var,omitempty"`
	OverMM    float64 `json:"over_mm,omitempty"` // by how much the readings before show the level higher
	Once      bool    `json:"once,omitempty"`    // a doubt waits for a second reading
	LeakMM    float64 `json:"leak_mm,omitempty"` // lost each day besides gassing, by its readings
	// SlowRate is by how much the last reading alone has lowered Rate; the lower bound
	// counts with the rate from before it, until the next reading.
	SlowRate float64 `json:"slow_rate,omitempty"`
	// SlipMM is by how much the lower bound doubts a likely level that rests on a reading
	// like a slip.
	SlipMM float64 `json:"slip_mm,omitempty"`
	AgoS   float64 `json:"ago_s"` // since the last reading, or since the cell is known
	// Marked: it was filled to the mark since, and by how much was worked out from what was
	// known. So the next measurement shows how well, and not how fast the cell loses water.
	Marked bool `json:"marked,omitempty"`
	// Eye: somebody said since the last reading that it was filled to the mark. Vouched: when
	// that was last said, a reading showed it.
	Eye     bool `json:"eye,omitempty"`
	Vouched bool `json:"vouched,omitempty"`
	Set     bool `json:"set"`  // the cell is known at all
	Lost    bool `json:"lost"` // nothing to count from: it was never read, or the reading was void
	readAt  time.Duration
}

// knowledge is that of all cells.
type knowledge struct {
	cells    [MaxCells]KnownCell
	before   [MaxCells]KnownCell // cells before their last reading in the open visit
	undo     CellSet
	touched  bool              // somebody was at the cells before any level was known
	older    bool              // the memory is of a program that did not know this
	low      [MaxCells]float64 // bounds of the settled levels, mm
	high     [MaxCells]float64
	atAh     float64 // gassing total for which they were calculated
	outdated bool
	rise     rise
	readers  readers
}

// rise is what the pilot's probe must show of the water of the visit just closed.
type rise struct {
	fromMM, mm float64
	pending    bool
}

// start makes a cell known by a level that is not its own reading.
func (c *KnownCell) start(levelMM, variance, gassingAh float64, now time.Duration) {
	*c = KnownCell{
		LevelMM: min(max(levelMM, -mostMM), mostMM), Var: variance, Rate: firstRate, RateVar: firstRateSD * firstRateSD, AtAh: gassingAh,
		ML: c.ML, ReadML: c.ReadML, Set: true, readAt: now,
	}
}

// lose leaves nothing to count from.
func (c *KnownCell) lose() {
	c.Var, c.Cov, c.LowMM, c.HighMM, c.BiasMM, c.Rod = lostSD*lostSD, 0, 0, 0, 0, false
	c.UnseenMM, c.UnseenVar, c.OverMM, c.SlowRate, c.SlipMM, c.Once, c.Eye, c.Vouched = 0, 0, 0, 0, 0, false, false, false
	c.Set, c.Lost = true, true
}

// after returns the likely level and its variance when so many millimetres more were
// lost by Faraday's law.
func (c *KnownCell) after(lostMM float64) (levelMM, variance float64) {
	variance = c.Var - 2*lostMM*c.Cov + lostMM*lostMM*c.RateVar + rateWalk*lostMM*lostMM*lostMM/3
	return c.LevelMM - c.Rate*lostMM, max(variance, 0)
}

// advance moves the estimate to a later gassing total.
func (c *KnownCell) advance(lostMM, gassingAh float64) {
	c.LevelMM, c.Var = c.after(lostMM)
	c.LevelMM, c.Var = max(c.LevelMM, -mostMM), min(c.Var, lostSD*lostSD)
	c.Cov -= c.RateVar*lostMM + rateWalk*lostMM*lostMM/2
	c.RateVar += rateWalk * lostMM
	c.SlipMM = min(c.SlipMM+c.SlowRate*lostMM, mostMM)
	c.AtAh = gassingAh
}

// lowAfter returns the lowest level that the cell may have then. The reader's own
// error is not random, so it is added in full. Water that was only recorded is not in it:
// a cell that was passed over is recorded with the rest.
func (c *KnownCell) lowAfter(lostMM float64) float64 {
	mm, variance := c.after(lostMM)
	return mm - c.SlowRate*lostMM - c.SlipMM - c.UnseenMM + c.LowMM - lowZ*math.Sqrt(max(variance-c.UnseenVar, 0)) - c.BiasMM
}

// highAfter returns the highest.
func (c *KnownCell) highAfter(lostMM float64) float64 {
	mm, variance := c.after(lostMM)
	z := highZ
	if c.Rod {
		z = rodHighZ
	}
	return mm + c.HighMM + c.OverMM + math.Sqrt(z*z*variance+c.BiasMM*c.BiasMM)
}

// measure takes a level measured in the cell itself, at its gassing total. It replaces
// the level, and teaches the rate. One that does not agree with the estimate is kept
// beside it until another agrees, and so raises no lower bound. careless is that readings
// of this pack often contradict each other.
func (c *KnownCell) measure(mm, sd, biasMM float64, now time.Duration, careless bool) (agrees bool) {
	off, r, rod, poured := mm-c.LevelMM, sd*sd, biasMM > 0, c.UnseenVar > 0
	low, high, lowMM := c.lowAfter(0)-c.LeakMM*c.days(now), c.highAfter(0), c.LowMM-off
	doubted := c.Rod && !c.Lost && low+c.SlipMM < doubtMM && (poured || c.Var >= doubtVar)
	if doubted {
		r = max(r, doubtVar)
	}
	spread := c.Var + r
	c.leak(off, spread, now)
	c.vouch(rod && off >= -vouchMM)
	agrees = c.Lost || math.Abs(off) <= readerMM+agreeZ*math.Sqrt(spread)
	if agrees && c.Rod != rod { // what is not the same rod may be off by itself
		spread += square(biasMM + c.BiasMM)
	}
	rate, rodAgrees := c.Rate+c.SlowRate, rod && agrees
	leftMM := c.leftOut(off, spread, r, careless)
	c.teach(off, spread, r, agrees)
	seen := mm
	if was := c.LevelMM - c.UnseenMM; agrees && (!poured || doubted) { // one reading alone ends no doubt
		seen = was + (mm-was)*c.Var/(c.Var+r)
	}
	c.Once = doubted && mm-seen > onceMM
	c.OverMM = c.before(off, r)
	if !rodAgrees {
		c.OverMM, leftMM = 0, 0
	}
	c.LevelMM, c.Var, c.LowMM, c.HighMM, c.UnseenMM, c.UnseenVar = mm, r, 0, 0, max(mm-seen, 0), 0
	c.BiasMM, c.Rod, c.Set, c.Lost, c.readAt = biasMM, rod, true, false, now
	c.doubt(leftMM, rate)
	if !agrees {
		c.LowMM, c.HighMM = min(low-c.lowAfter(0), lowMM, 0), max(high-c.highAfter(0), 0)
	}
	return agrees
}

// readerBias is what a reader may always be off at a level, more than 0.
func readerBias(mm float64) float64 { return min(readerMM, max(mm, 0.1)*readerShare) }

// before returns half of what the rod's readings before leave above one that is so far off:
// all of it would keep the amounts of an honest reader short.
func (c *KnownCell) before(off, r float64) float64 {
	if !c.Rod || c.Lost || c.LowMM != 0 || c.HighMM != 0 {
		return 0
	}
	return max(off*c.Var/(c.Var+r)-off, 0) / 2
}

// teach learns the rate of loss from a reading.
func (c *KnownCell) teach(off, spread, r float64, agrees bool) {
	switch {
	case c.Marked:
		c.Cov, c.Marked = 0, false
	case agrees:
		c.learn(off, spread, r)
	default:
		c.Rate, c.RateVar, c.Cov = max(c.Rate, firstRate), firstRateSD*firstRateSD, 0
	}
}

// learn moves the rate by how far a reading is off.
func (c *KnownCell) learn(offMM, spread, r float64) {
	gain := c.Cov / spread
	c.Rate = min(max(c.Rate+gain*offMM, leastRate), mostRate)
	c.RateVar = max(c.RateVar-gain*c.Cov, 0)
	c.Cov *= r / spread
}

// lostSince returns what a cell has lost by Faraday's law since its estimate.
func (b *Balance) lostSince(c *KnownCell) float64 {
	return min(max(b.mm(electrolyte.WaterML(b.gassingAh-c.AtAh)), 0), mostMM)
}

// begin makes the cells known that are not yet: the pilot by its probe, the others as
// usual cells beside it. Once somebody was at the cells before a level was known,
// nothing is known of them.
func (b *Balance) begin(lowMM, highMM float64, calm bool) {
	k := &b.know
	if k.begun(b.cfg.Cells) || b.atCells {
		return
	}
	mid, gas := (lowMM+highMM)/2, 0.0
	if !calm {
		gas = b.holdUpMM() / 2
	}
	if highMM-lowMM > wideMM {
		highMM = min(highMM, max(b.s.CeilingMM, lowMM))
		mid = (lowMM + highMM) / 2
	}
	probe := square(probeSD) + square(gas) + square((highMM-lowMM)/2/highZ) // all that is in the span is possible
	for i := range b.cfg.Cells {
		c := &k.cells[i]
		switch {
		case c.Set:
		case i+1 == b.cfg.Pilot && !b.cells[i].Dry:
			c.start(mid, probe, b.gassingAh, b.last)
		case k.older && !b.cells[i].Dry:
			c.start(mid+b.likelyMM(i), probe+square(upgradeSD), b.gassingAh, b.last)
		default:
			c.start(mid, probe+square(usualSD), b.gassingAh, b.last)
			if k.touched || b.cells[i].Dry {
				c.lose()
			}
		}
	}
	k.outdated = true
}

// begun reports whether all cells are known, or known to be lost.
func (k *knowledge) begun(cells int) bool {
	for i := range cells {
		if !k.cells[i].Set {
			return false
		}
	}
	return true
}

// follow brings the water of the open visit into the estimates.
func (b *Balance) follow() {
	if !b.atCells {
		return
	}
	for i := range b.cfg.Cells {
		if c := &b.know.cells[i]; b.given[i] != c.ML {
			c.pour(b.mm(b.given[i]-c.ML), pourSD)
			c.ML, b.know.outdated = b.given[i], true
		}
	}
}

// closeKnown ends a visit, or takes one that was recorded later.
func (b *Balance) closeKnown(netML *[MaxCells]float64, guessed CellSet, beforeMM float64, beforeOK bool) {
	k := &b.know
	for i := range b.cfg.Cells {
		c := &k.cells[i]
		c.pour(b.mm(netML[i]-c.ML), pourSD)
		if guessed.Has(i + 1) {
			more := square(b.mm(netML[i]-c.ReadML)) * (guessSD*guessSD - pourSD*pourSD)
			c.Var += more
			if c.UnseenMM > 0 {
				c.UnseenVar += more
			}
		}
		c.ML, c.ReadML = 0, 0
	}
	k.rise = rise{}
	if p := b.cfg.Pilot; p > 0 && beforeOK && !b.open {
		k.rise = rise{beforeMM, b.mm(netML[p-1]), true}
	}
	k.touched = k.touched || !k.begun(b.cfg.Cells)
	k.undo, k.outdated = 0, true
}

// readKnown takes a level that a person read in a cell.
func (b *Balance) readKnown(i int, settledMM, sd float64) {
	b.follow()
	k := &b.know
	c := &k.cells[i]
	k.before[i], k.undo = *c, k.undo|1<<i
	if !c.Set {
		ml := c.ML
		c.start(settledMM, lostSD*lostSD, b.gassingAh, b.last)
		c.ML = ml
	}
	c.advance(b.lostSince(c), b.gassingAh)
	if c.ReadML = c.ML; sd == markSD {
		c.mark(settledMM)
		k.outdated = true
		return
	}
	k.readers.saw(c.measure(settledMM, math.Hypot(sd, b.gasMM/2), readerBias(settledMM), b.last, k.readers.careless()))
	k.outdated = true
}

// dryKnown takes that the rod shows the plates of a cell: how low its level is, it does
// not show.
func (b *Balance) dryKnown(i int) {
	b.follow()
	c := &b.know.cells[i]
	b.know.before[i], b.know.undo = *c, b.know.undo|1<<i
	if c.Set {
		mm, variance := c.after(b.lostSince(c))
		c.leak(min(-mm, 0), variance+drySD*drySD/highZ/highZ, b.last)
	}
	c.lose()
	c.LevelMM, c.Var, c.AtAh = min(c.LevelMM, -highZ*drySD), drySD*drySD, b.gassingAh
	c.ReadML, b.know.outdated = c.ML, true
}

// unreadKnown takes a cell's last reading in the open visit back; water recorded since
// counts. After a restart nothing is left to count from.
func (b *Balance) unreadKnown(i int) {
	k := &b.know
	if k.undo.Has(i + 1) {
		k.cells[i] = k.before[i]
		k.undo &^= 1 << i
	} else {
		k.cells[i].lose()
	}
	k.outdated = true
}

// repouredKnown corrects the water of a cell that was read in the open visit. Water from
// before the reading is in what was read.
func (b *Balance) repouredKnown(i int, wasML, isML float64) {
	c := &b.know.cells[i]
	switch {
	case c.ReadML == wasML: // nothing was poured after the reading
		c.ML, c.ReadML = isML, isML
	case isML < c.ReadML: // some of it must have been before
		c.span(b.mm(isML - c.ReadML))
	case isML < wasML: // it was never poured
		c.UnseenMM = max(c.UnseenMM-b.mm(wasML-isML), 0)
	}
}
