package cooldown

import (
	"math"
	"time"
)

const (
	strideH = 1.0 / 6 // step of the forward run, h
	mostH   = 48.0    // no estimate beyond this, h
	rangeZ  = 1.645   // standard deviations to each side, for ReadyCoverage
	// airDriftH is how long a drift of the air continues, h.
	airDriftH = 3.0
	// airStrayK is how far the air strays from its drift after an hour, K; it grows
	// with the square root of time.
	airStrayK = 1.0
	// leastH is the least half width of a range, h: a mark, plus the effect of
	// noise on the moment when a limit is passed.
	leastH = 0.1
)

// course is one possible course of the rest of a night. Deviations are in standard
// deviations.
type course struct {
	packC, airC      float64
	k, sun, driftK   float64
	airStray, sunOff float64
	share            float64 // of the electrolyte's excess that the sensor shows
	maxC, nearK      float64
	fallKPerH        float64
}

// readyH returns the time until all temperature rules hold, h; ok is false when
// they do not within mostH.
func (c *course) readyH() (h float64, ok bool) {
	cool, sunKeep, driftKeep := math.Exp(-c.k*strideH), math.Exp(-strideH/sunH), math.Exp(-strideH/airDriftH)
	packC, airC, gone, left := c.packC, c.airC, 1.0, 1.0
	was := c.short(packC, airC, c.k*(packC-airC)-c.sun)
	if was <= 0 {
		return 0, true
	}
	fall, fallBefore := c.k*(packC-airC)-c.sun, c.k*(packC-airC)-c.sun
	for t := strideH; t <= mostH; t += strideH {
		gone *= driftKeep
		left *= sunKeep
		airC = c.airC + c.driftK*airDriftH*(1-gone) + c.airStray*airStrayK*math.Sqrt(t)
		sun := c.sun*left + c.sunOff*sunSpread*math.Sqrt(1-left*left)
		end := airC + sun/c.k
		packC = end + (packC-end)*cool
		now := c.short(packC, airC, (fall+fallBefore)/2)
		fall, fallBefore = c.k*(packC-airC)-sun, fall
		if now <= 0 {
			return t - strideH*now/min(now-was, -1e-9), true
		}
		was = now
	}
	return 0, false
}

// short returns how much is missing, K or K/h; 0 or less when nothing is.
func (c *course) short(packC, airC, fall float64) float64 {
	excess := (packC - airC) / c.share
	return max(airC+max(excess, packC-airC)-c.maxC, excess-c.nearK, fall-c.fallKPerH)
}

// span is a time with its range, h.
type span struct {
	at, early, late float64
	ok              bool
}

// reach runs the course forward with each uncertain figure moved to both sides and
// adds the squares of the effects. kk, kq and qq are the covariance of k and sun.
func (c *course) reach(kk, kq, qq float64) span {
	at, ok := c.readyH()
	if !ok {
		return span{}
	}
	var early, late float64
	both := func(change func(to *course, z float64)) {
		for _, z := range [2]float64{-rangeZ, rangeZ} {
			other := *c
			change(&other, z)
			other.k = max(other.k, kLeast)
			h, ok := other.readyH()
			if !ok {
				h = mostH
			}
			early += square(max(at-h, 0))
			late += square(max(h-at, 0))
		}
	}
	sk := math.Sqrt(max(kk, 0))
	along, across := 0.0, math.Sqrt(max(qq, 0))
	if sk > 0 {
		along = kq / sk
		across = math.Sqrt(max(qq-along*along, 0))
	}
	both(func(to *course, z float64) { to.k += z * sk; to.sun += z * along })
	both(func(to *course, z float64) { to.sun += z * across })
	both(func(to *course, z float64) { to.airStray = z })
	both(func(to *course, z float64) { to.sunOff = z })
	// When both sides come out late, or early, they are not two causes. The sum is
	// then a little too wide, which is the safe side.
	return span{
		at: at, ok: true,
		early: max(at-math.Sqrt(early)-leastH, 0), late: min(at+math.Sqrt(late)+leastH, mostH),
	}
}

func square(x float64) float64 { return x * x }

func hours(h float64) time.Duration { return time.Duration(min(h, mostH) * float64(time.Hour)) }
