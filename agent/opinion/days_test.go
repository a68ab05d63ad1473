package opinion

import (
	"math"
	"time"
)

const day = 24 * time.Hour

// worksShare is the depth of a usual shift.
const worksShare = 0.6

// habits are how a machine is used. The zero value is a shift on six days a week.
type habits struct {
	share   float64       // depth of a shift; 0: worksShare
	varies  float64       // its spread from day to day, as a share
	midday  time.Duration // on charge in the middle of the shift
	holiday int           // first day of two weeks on the plug; 0: none
	fine    int           // each so many days the readings come once a second; 0: never
}

// live passes days: a shift from six to two, the charge after it, and a person who
// looks before the shift and after it. There is no work on the seventh day.
func (y *yard) live(days int, p *person, each func(d int)) {
	for d := int(y.now / day); d < days; d++ {
		y.fine = y.habits.fine > 0 && d%y.habits.fine == y.habits.fine-1
		y.until(time.Duration(d)*day + 5*time.Hour + 30*time.Minute)
		p.look(y)
		y.until(time.Duration(d)*day + 6*time.Hour)
		if y.works(d) {
			y.shift()
		}
		y.until(time.Duration(d)*day + 14*time.Hour + 30*time.Minute)
		p.look(y)
		if each != nil {
			each(d)
		}
	}
}

// works reports whether the machine goes to work: not on the seventh day, in the
// holidays, or when it is not charged.
func (y *yard) works(d int) bool {
	h := &y.habits
	away := h.holiday > 0 && d >= h.holiday && d < h.holiday+14
	return d%7 != 6 && !away && y.outAh < 0.3*y.setup.Pack.CapacityAh
}

// shift is one day's work.
func (y *yard) shift() {
	h := &y.habits
	share := h.share
	if share == 0 {
		share = worksShare
	}
	share *= max(1+h.varies*y.rand.NormFloat64(), 0.2)
	ah := min(share, 0.8) * y.setup.Pack.CapacityAh
	if h.midday == 0 {
		y.leave(8*time.Hour, ah)
		return
	}
	y.leave(4*time.Hour, ah/2)
	y.run(h.midday)
	y.leave(4*time.Hour-h.midday, ah/2)
}

// until runs to a time.
func (y *yard) until(at time.Duration) {
	if at > y.now {
		y.run(at - y.now)
	}
}

// seasons is the air of a shed: a year of 18 K between winter and summer, a day of
// 8 K.
func seasons(meanC float64) func(time.Duration) float64 {
	return func(now time.Duration) float64 {
		h := now.Hours()
		return meanC - 9*math.Cos(2*math.Pi*h/24/365) - 4*math.Cos(2*math.Pi*(h-3)/24)
	}
}
