package cooldown

import "math"

const (
	// kPublished is 1/tau before anything is learned, 1/h, and kPublishedSpread the
	// spread of its logarithm: from 3 h for light blocks to a day for tight trays, of
	// 1004 J/(kg K) and 250 kg/m² in 5 to 20 W/(m² K) (System Advisor Model's own test;
	// the films of still air and the day are from memory).
	kPublished, kPublishedSpread = 1.0 / 8.5, 0.6
	// kFirst and its spread are the same as the filter needs it, see firstWeight.
	kFirst, kFirstSpread = 1.0 / 8, 0.1 // 1/h
	// nightSpread is how much 1/tau may change from one night to the next: the lid,
	// the fan, the location.
	nightSpread = 0.12
	// What the air does not explain, K/h: sun on the lid, a warm neighbour, wind.
	// sunFirst is its spread when a charge ends. sunSpread is its spread later, as
	// it comes and goes over sunH hours. Chosen so that the range holds over the
	// simulated nights of the tests.
	sunFirst, sunSpread, sunH = 0.45, 0.3, 3.0
	// markNoiseK is the error of a smoothed reading: a sixteenth of a degree of a
	// digital sensor, plus the remaining noise.
	markNoiseK = 0.05
	// paceK is how far the temperature may stray from the law in an hour.
	paceK  = 0.05
	lostK  = 50.0 // spread of an unknown temperature
	kLeast = 0.01 // 1/h: slower is no cooling
	// knownShare is the relative spread of 1/tau up to which it counts as known.
	knownShare = 0.35
	// learnShare is the one up to which the next night may begin with it, after
	// learnSteps marks.
	learnShare, learnSteps = 0.6, 6
	// readNoiseK is how far the excess may be off at the moment of the call: the noise and
	// steps of both readings, and the gust or the door of the last minutes, which no path of
	// the weather has. Chosen so that the range holds in the last hour of simulated nights.
	readNoiseK = 0.5
)

// fit follows temperature, k = 1/tau and q of
//
//	T(now) = T(before) - k X + q dt,  X = integral of T - Ta
//
// by recursive least squares with a covariance (a Kalman filter). X is measured,
// so the law is linear in the unknowns.
type fit struct {
	x      [3]float64 // T °C, k 1/h, q K/h
	p      [3][3]float64
	primed bool
	steps  int
}

// newFit starts from a guess of k.
func newFit(k, spread float64) fit {
	var f fit
	f.x[1] = k
	f.p[0][0] = lostK * lostK
	f.p[1][1] = spread * spread
	f.p[2][2] = sunFirst * sunFirst
	return f
}

// begin starts with the first mark.
func (f *fit) begin(packC float64) {
	f.x[0], f.primed = packC, true
	f.p[0] = [3]float64{markNoiseK * markNoiseK, 0, 0}
	f.p[1][0], f.p[2][0] = 0, 0
}

// step processes one mark: h hours after the previous one, with an integral of kh
// between. Without a whole integral it uses only the temperature.
func (f *fit) step(packC, kh, h float64, whole bool) {
	if !f.primed || !whole {
		f.begin(packC)
		return
	}
	f.predict(kh, h)
	f.update(packC)
	f.steps++
}

func (f *fit) predict(kh, h float64) {
	keep := math.Exp(-h / sunH)
	f.x[0] += -kh*f.x[1] + h*f.x[2]
	f.x[2] *= keep
	a := [3][3]float64{{1, -kh, h}, {0, 1, 0}, {0, 0, keep}}
	f.p = sandwich(&a, &f.p)
	f.p[0][0] += paceK * paceK * h
	f.p[2][2] += sunSpread * sunSpread * (1 - keep*keep)
}

// update corrects the state by a measured temperature.
func (f *fit) update(packC float64) {
	s := f.p[0][0] + markNoiseK*markNoiseK
	gain := [3]float64{f.p[0][0] / s, f.p[1][0] / s, f.p[2][0] / s}
	miss := packC - f.x[0]
	row := f.p[0]
	for i := range 3 {
		f.x[i] += gain[i] * miss
		for j := range 3 {
			f.p[i][j] -= gain[i] * row[j]
		}
	}
	f.x[1] = max(f.x[1], kLeast)
}

// k returns 1/tau and its standard error, 1/h.
func (f *fit) k() (perH, se float64) { return f.x[1], math.Sqrt(max(f.p[1][1], 0)) }

// sandwich returns a p aᵀ.
func sandwich(a, p *[3][3]float64) [3][3]float64 {
	var ap, out [3][3]float64
	for i := range 3 {
		for j := range 3 {
			for n := range 3 {
				ap[i][j] += a[i][n] * p[n][j]
			}
		}
	}
	for i := range 3 {
		for j := range 3 {
			for n := range 3 {
				out[i][j] += ap[i][n] * a[j][n]
			}
		}
	}
	return out
}
