package charge

import "math"

// fit is an exponential through the currents of some means: the rate at the end as a
// share of the capacity, its fall, 1/h, and two standard errors of that.
type fit struct{ rate, fall, plus float64 }

// fitted is not ok for currents that may be a sensor's offset. It takes tailLeast means or
// more.
func fitted(ms []heldMark, capacityAh float64) (f fit, ok bool) {
	n := float64(len(ms))
	var sh, sl, shh, shl, sll float64
	for i := range ms {
		if ms[i].i < deadRate*capacityAh {
			return f, false
		}
		h, l := ms[i].h-ms[0].h, math.Log(ms[i].i/capacityAh)
		sh, sl, shh, shl, sll = sh+h, sl+l, shh+h*h, shl+h*l, sll+l*l
	}
	dh, cov := shh-sh*sh/n, shl-sh*sl/n
	slope := cov / dh
	rest := max(sll-sl*sl/n-slope*cov, 0) / (n - 2)
	end := ms[len(ms)-1].h - ms[0].h
	return fit{math.Exp(sl/n + slope*(end-sh/n)), -slope, 2 * math.Sqrt(rest/dh)}, true
}

// left returns what still goes in if the current continues to fall at a rate, as a
// share of the capacity: current times time constant. All of the current counts as
// charging, so gas makes it too large; a sensor's offset may hide some.
func (f *fit) left(fall float64) float64 {
	if fall <= 0 {
		return math.Inf(1)
	}
	whole := f.rate + deadRate
	return whole * whole / f.rate / fall
}

// aboveFloor returns what still goes in where the gas of old plates makes a floor that
// the current falls to: by the means of three equal parts of the time, whose
// differences shrink by the same ratio. The ends of their ranges by noise make it
// larger. A slow part of the charge looks like a floor, so the rest must agree.
func aboveFloor(ms []heldMark, capacityAh float64) (left float64, ok bool) {
	k := len(ms) / 3
	if k < tailLeast {
		return 0, false
	}
	ms = ms[len(ms)-3*k:]
	var part [3]float64
	scatter := 0.0
	for j := range ms {
		part[j/k] += ms[j].i / capacityAh / float64(k)
		if j > 1 { // second differences are noise
			d := (ms[j].i - 2*ms[j-1].i + ms[j-2].i) / capacityAh
			scatter += d * d / 6 / float64(len(ms)-2)
		}
	}
	noise := 2 * math.Sqrt(2*scatter/float64(k))
	d1, d2 := part[0]-part[1]-noise, max(part[1]-part[2], 0)+noise
	if d1 <= d2 {
		return 0, false
	}
	r := d2 / d1
	r /= 1 - r
	return d2 * (ms[k].h - ms[0].h) * r * r, true
}
