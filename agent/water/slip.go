package water

import "math"

// A slip is a reading that is two marks off: read at the wrong end of the rod's wet part,
// or typed wrong. One that is much too low costs a visit. One that is too high and still
// agrees with an unsure estimate would lift the lower bound, and teach the cell a rate of
// loss at which nobody would look at it again in time. So what lifts the bound like a
// slip counts less for it, until later readings show the same.
const (
	// slipMM is two marks of 1/8 in, and slipVar the variance of one reading of twenty
	// being that far off, mm²: common practice, no source.
	slipMM, slipVar = 6.0, slipMM * slipMM / 20
	// slipEvery is that every so many readings are a slip upwards, slipOften of a reader
	// who is careless, and slipLeast the probability from which a reading is taken for a
	// possible one: as much as the careful bound leaves, lowZ standard errors below.
	slipEvery, slipOften, slipLeast = 40, 8, 0.0082
	// readersOf is over how many readings the share of those that contradict is taken, and
	// carelessShare what only misreading explains: from then on what agrees with recorded
	// water may be a slip, too.
	readersOf, carelessShare = 40, 0.10
)

// slipped reports whether a reading so far above the estimate, with the variance of both,
// is a slip with a probability of at least slipLeast: Bayes' theorem for two normal
// distributions that are slipMM apart.
func slipped(aboveMM, variance float64, careless bool) bool {
	every := float64(slipEvery)
	if careless {
		every = slipOften
	}
	return (2*aboveMM-slipMM)*slipMM/(2*variance) > math.Log(slipLeast*every)
}

// leftOut returns how much of a reading that is so far above the likely level the lower
// bound leaves out, with the variance of both and that of the reading alone; 0 for one that
// is not like a slip. What a slip before it has left counts as well: two of them agree.
func (c *KnownCell) leftOut(offMM, spread, r float64, careless bool) (mm float64) {
	poured := c.UnseenVar > 0 // then the reading shows the water, unless its reader is careless
	if !poured {
		offMM += c.SlipMM
	}
	if c.Lost || poured && !careless || !slipped(offMM, spread, careless) {
		return 0
	}
	return offMM * (r + slipVar) / (c.Var + r + slipVar)
}

// doubt keeps for the lower bound that so much of a reading may be a slip, and the rate
// from before it; 0 ends that.
func (c *KnownCell) doubt(leftMM, rate float64) {
	c.SlowRate, c.SlipMM = 0, 0
	if leftMM > 0 {
		c.SlowRate, c.SlipMM = max(rate-c.Rate, 0), max(leftMM-c.UnseenMM, 0)
	}
}

// readers is the share of a pack's last readings that contradicted what was known. Somebody
// who misreads one of four is told by it, whoever it is.
type readers float64

func (r *readers) saw(agrees bool) {
	*r -= *r / readersOf
	if !agrees {
		*r += 1.0 / readersOf
	}
}

func (r *readers) careless() bool { return *r > carelessShare }
