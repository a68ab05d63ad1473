package cooldown

import (
	"math"
	"time"
)

// learn feeds the last mark to the fit.
func (r *Rest) learn() {
	kh, h, whole := r.marks.taken()
	if r.s.Rested < lagFor {
		return
	}
	if !r.fitted {
		r.fit, r.fitted = newFit(r.guess()), true
		whole = false
	}
	r.fit.step(r.marks.packC, kh, h, whole && r.marks.hasAir)
	k, se := r.fit.k()
	if r.fit.steps == 0 || se > knownShare*k {
		return
	}
	r.learned, r.learnedSE = k, se
	r.s.TauH, r.s.TauSpreadH, r.s.TauKnown, r.s.SunKPerH = 1/k, se/(k*k), true, r.fit.x[2]
}

// estimate runs the night forward from the last mark.
func (r *Rest) estimate(now time.Duration) {
	r.reach, r.reachAt = span{}, now
	c := course{
		packC: r.marks.packC, airC: r.marks.airC, driftK: r.air.kPerH(), share: r.cfg.SensorShare,
		maxC: r.cfg.WateringMaxC, nearK: r.cfg.NearAmbientK, fallKPerH: r.cfg.FallMaxKPerH,
	}
	k, spread := r.guess()
	c.k = k
	kk, kq, qq := spread*spread, 0.0, sunFirst*sunFirst
	if r.fitted && r.fit.steps > 0 {
		c.packC, c.k, c.sun = r.fit.x[0], r.fit.x[1], r.fit.x[2]
		kk, kq, qq = r.fit.p[1][1], r.fit.p[1][2], r.fit.p[2][2]
	}
	if kk > square(knownShare*c.k) {
		return // neither this night nor an earlier one has taught enough
	}
	if r.s.NoAmbient {
		if !r.s.FallKnown || !(r.s.FallKPerH > 0) {
			return
		}
		c.blind(r.marks.packC, r.s.FallKPerH, r.cfg.SensorShare)
		kq, qq = 0, 0
	}
	r.reach = c.reach(kk, kq, qq)
}

// blind infers the air temperature from the fall.
func (c *course) blind(packC, fallKPerH, share float64) {
	c.airC, c.sun, c.driftK = packC-fallKPerH/c.k, 0, 0
	c.nearK = math.Inf(1)
	c.fallKPerH /= blindShare
	if share != 1 {
		c.maxC -= blindCaseK
	}
	c.share = 1
}

// tell counts the estimate down between the marks.
func (r *Rest) tell(now time.Duration) {
	if r.s.Cool {
		r.s.ReadyKnown, r.s.ReadyIn, r.s.ReadyEarly, r.s.ReadyLate = true, 0, 0, 0
		return
	}
	r.s.ReadyKnown = r.reach.ok
	if !r.reach.ok {
		r.s.ReadyIn, r.s.ReadyEarly, r.s.ReadyLate = 0, 0, 0
		return
	}
	least := r.s.RestLeft
	if r.s.NoAmbient {
		least = max(blindRests*r.cfg.RestMin-r.s.Rested, 0)
	}
	gone := now - r.reachAt
	left := func(h float64) time.Duration { return max(hours(h)+holdFor-gone, least) }
	r.s.ReadyIn, r.s.ReadyLate = left(r.reach.at), left(r.reach.late)
	r.s.ReadyEarly = max(hours(r.reach.early)-gone, least)
}
