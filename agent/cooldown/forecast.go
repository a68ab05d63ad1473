package cooldown

import (
	"cmp"
	"math"
	"slices"
	"time"
)

const (
	strideH = 1.0 / 4 // step of the forward run, h
	strides = 288     // no estimate beyond these
	mostH   = strides * strideH
	// airDriftH is how long a drift of the air continues, h.
	airDriftH = 3.0
	// How far the air may stray from its drift, K: airDayK by the day, whose extremes are
	// 2 to 14 K apart outdoors (climate normals, from memory) and whose warmest hour is not
	// known, and airStrayK by weather,
	// doors and wind, which come and go over airStrayH hours: what fluctuates passes a
	// limit sooner than what drifts.
	airDayK, airStrayK, airStrayH = 4.5, 1.4, 3.0
	// filmSpread is how much the loss of heat may change in the rest of the night, as a
	// share: a draught comes and goes, and free convection weakens with the excess.
	filmSpread = 0.12
	// tail is the share of the courses outside the range, on each side.
	tail = (1 - ReadyCoverage) / 2
)

// course is one possible course of the rest of a night. Deviations are in standard
// deviations.
type course struct {
	packC, airC    float64
	k, sun, driftK float64
	airDay         float64
	path           *[pathStrides]float32 // of the air, nil for none
	sunOff         float64
	share          float64 // of the electrolyte's excess that the sensor shows
	maxC, nearK    float64
	fallKPerH      float64
}

// shape is how far what is drawn has come at a stride.
type shape struct {
	drift       float64 // h for which a drift has continued
	day         float64
	sun, sunOff float64
}

// shapes are those of all strides.
var shapes = courseShapes()

func courseShapes() (out [strides + 1]shape) {
	for i := range out {
		h := float64(i) * strideH
		left := math.Exp(-h / sunH)
		out[i] = shape{
			drift: airDriftH * (1 - math.Exp(-h/airDriftH)), day: airDayK * (1 - math.Cos(2*math.Pi*h/24)),
			sun: left, sunOff: sunSpread * math.Sqrt(1-left*left),
		}
	}
	return out
}

// stray returns how far the weather has moved the air at a stride, K.
func (c *course) stray(stride int) float64 {
	if c.path == nil {
		return 0
	}
	return float64(c.path[stride%pathStrides])
}

// readyH returns the time until all temperature rules hold, h; mostH when they do not
// before.
func (c *course) readyH() float64 {
	packC, cool := c.packC, math.Exp(-c.k*strideH)
	fall := c.k*(packC-c.airC) - c.sun
	was, fallBefore := c.short(packC, c.airC, fall), fall
	if was <= 0 {
		return 0
	}
	for i := 1; i <= strides; i++ {
		at := &shapes[i]
		airC := c.airC + c.driftK*at.drift + c.airDay*at.day + c.stray(i)
		sun := c.sun*at.sun + c.sunOff*at.sunOff
		end := airC + sun/c.k
		packC = end + (packC-end)*cool
		now := c.short(packC, airC, (fall+fallBefore)/2)
		fall, fallBefore = c.k*(packC-airC)-sun, fall
		if now <= 0 {
			return strideH * (float64(i) - now/min(now-was, -1e-9))
		}
		was = now
	}
	return mostH
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

// unsure is how uncertain the figures of a course are.
type unsure struct {
	kk, kq, qq float64 // covariance of k and sun
	noiseK     float64 // of the excess that the rule will judge
}

// end is when a drawn course is ready, h, and how much it counts.
type end struct{ h, weight float64 }

// reach runs the likely course forward, and takes the range from where courses end that
// are drawn from what is uncertain: as many are sooner as are later. Adding the
// effects of each figure by their squares instead would miss that they bend the time:
// a slow pack is later by more than a fast one is sooner. In unsteady air most packs are
// ready before the likely course: what fluctuates passes a limit sooner than what does
// not. In steady air it is right, where the middle of the drawn ones is late by a tenth.
func (c *course) reach(u *unsure) span {
	var ends [draws]end
	total := 0.0
	for i := range ends {
		ends[i] = c.drawn(u, i)
		total += ends[i].weight
	}
	if !(total > 0) {
		return span{}
	}
	slices.SortFunc(ends[:], func(x, y end) int { return cmp.Compare(x.h, y.h) })
	at, early, late := c.readyH(), quantile(&ends, tail*total), quantile(&ends, (1-tail)*total)
	if at >= mostH { // a sun that never ends
		at = quantile(&ends, total/2)
	}
	return span{at: min(max(at, early), late), early: early, late: late, ok: at < mostH}
}

// drawn runs one drawn course.
func (c *course) drawn(u *unsure, number int) end {
	z := &scores[number]
	sk := math.Sqrt(max(u.kk, 0))
	along := 0.0
	if sk > 0 {
		along = u.kq / sk
	}
	across := math.Sqrt(max(u.qq-along*along, 0))
	to := *c
	to.k = c.k + z[0]*sk
	to.sun += z[0]*along + z[1]*across
	weight := firstWeight(to.k)
	to.k = max(to.k*math.Exp(filmSpread*z[4]), kLeast)
	to.airDay, to.sunOff = z[2], z[3]
	to.path = &paths[number]
	to.nearK += u.noiseK * z[5]
	to.maxC += u.noiseK * z[5]
	return end{to.readyH(), weight}
}

// quantile returns the time at which the ends, in order, add up to a weight. It moves
// evenly between two ends.
func quantile(ends *[draws]end, weight float64) float64 {
	sum, before := 0.0, end{h: ends[0].h}
	for i := range ends {
		e := &ends[i]
		if e.weight <= 0 {
			continue
		}
		mid := sum + e.weight/2 // an end counts as in the middle of its weight
		if mid >= weight {
			if before.weight == 0 {
				return e.h
			}
			gap := (before.weight + e.weight) / 2
			return e.h - (e.h-before.h)*(mid-weight)/gap
		}
		sum, before = sum+e.weight, *e
	}
	return before.h
}

func square(x float64) float64 { return x * x }

func hours(h float64) time.Duration { return time.Duration(min(h, mostH) * float64(time.Hour)) }
