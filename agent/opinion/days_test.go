package opinion

import (
	"math"
	"time"
)

const day = 24 * time.Hour

// worksShare is the depth of a usual shift.
const worksShare = 0.6

// live passes days: a shift from six to two, the charge after it, and a person who
// looks before the shift and after it. There is no work on the seventh day.
func (y *yard) live(days int, p *person, each func(d int)) {
	for d := int(y.now / day); d < days; d++ {
		y.until(time.Duration(d)*day + 5*time.Hour + 30*time.Minute)
		p.look(y)
		y.until(time.Duration(d)*day + 6*time.Hour)
		if capAh := y.setup.Pack.CapacityAh; d%7 != 6 && y.outAh < 0.3*capAh {
			y.leave(8*time.Hour, worksShare*capAh)
		}
		y.until(time.Duration(d)*day + 14*time.Hour + 30*time.Minute)
		p.look(y)
		if each != nil {
			each(d)
		}
	}
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
