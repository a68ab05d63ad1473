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
	if r.fit.steps < learnSteps || se > learnShare*k {
		return
	}
	r.learned, r.learnedSE = k, se
	if se > knownShare*k {
		return
	}
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
	u := unsure{kk: spread * spread, qq: sunFirst * sunFirst, noiseK: readNoiseK / r.cfg.SensorShare}
	if r.fitted && r.fit.steps > 0 {
		c.packC, c.k, c.sun = r.fit.x[0], r.fit.x[1], r.fit.x[2]
		u.kk, u.kq, u.qq = r.fit.p[1][1], r.fit.p[1][2], r.fit.p[2][2]
	}
	if r.s.NoAmbient {
		// The air is inferred from 1/tau, so one that is not known gives no air either.
		if u.kk > square(knownShare*c.k) || !r.s.FallKnown || !(r.s.FallKPerH > 0) {
			return
		}
		c.blind(r.marks.packC, r.s.FallKPerH, r.cfg.SensorShare)
		u.kq, u.qq = 0, 0
	}
	r.reach = c.reach(&u)
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

// The shown estimate follows a new one within a share of the time that is left: what a
// mark has taught does not move it within a minute.
const (
	tellShare          = 0.15
	tellSoon, tellLast = 2 * time.Minute, 20 * time.Minute
)

// tell counts the estimate down between the marks.
func (r *Rest) tell(now time.Duration) {
	if r.s.Cool {
		r.s.ReadyKnown, r.s.ReadyIn, r.s.ReadyEarly, r.s.ReadyLate = true, 0, 0, 0
		return
	}
	r.s.ReadyKnown = r.reach.ok
	if !r.reach.ok {
		r.shown.ok = false
		r.s.ReadyIn, r.s.ReadyEarly, r.s.ReadyLate = 0, 0, 0
		return
	}
	r.shown.follow(&r.reach, r.reachAt, now)
	least := r.s.RestLeft
	if r.s.NoAmbient {
		least = max(blindRests*r.cfg.RestMin-r.s.Rested, 0)
	}
	left := func(h float64) time.Duration { return max(hours(h)+holdFor, least) }
	r.s.ReadyEarly, r.s.ReadyIn, r.s.ReadyLate = left(r.shown.early), left(r.shown.at), left(r.shown.late)
}

// shown is the estimate as it is shown, counted from at.
type shown struct {
	span
	now time.Duration
}

// follow moves it towards an estimate that was made at a mark.
func (s *shown) follow(to *span, made, now time.Duration) {
	share := part(now-s.now, min(max(hours(tellShare*to.late), tellSoon), tellLast))
	if !s.ok {
		s.span, s.now, share = *to, made, 0
	}
	old, gone := (now - s.now).Hours(), (now - made).Hours()
	move := func(h, to float64) float64 { return (1-share)*max(h-old, 0) + share*max(to-gone, 0) }
	s.early, s.at, s.late, s.now = move(s.early, to.early), move(s.at, to.at), move(s.late, to.late), now
}
