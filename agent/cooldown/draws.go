package cooldown

import "math"

const (
	// draws is how many courses a range is taken from, scored how many figures of a
	// course are drawn.
	draws, scored = 96, 6
	// drawDOF is for spreads that are themselves known from about so many published
	// figures: Student's distribution instead of the normal one.
	drawDOF = 20.0
)

// scores are the draws, always the same: the points of an additive recurrence with the
// generalised golden ratio, which fill the space evenly (M. Roberts, "The unreasonable
// effectiveness of quasirandom sequences", 2018), as quantiles of Student's
// distribution.
var scores = drawScores()

func drawScores() (out [draws][scored]float64) {
	ratio := 1.0
	for range 60 { // the root of x^(scored+1) = x + 1
		ratio = math.Pow(1+ratio, 1.0/(scored+1))
	}
	for i := range out {
		for j := range out[i] {
			_, u := math.Modf(0.5 + float64(i+1)/math.Pow(ratio, float64(j+1)))
			out[i][j] = student(math.Sqrt2 * math.Erfinv(2*u-1))
		}
	}
	return out
}

// pathStrides is after how long a path of the weather begins again, half a day and more.
const pathStrides = 64

// paths are courses of the weather, K: random walks that forget over airStrayH, in pairs
// of opposite sign.
var paths = weatherPaths()

func weatherPaths() (out [draws][pathStrides]float32) {
	keep := math.Exp(-strideH / airStrayH)
	step := airStrayK * math.Sqrt(1-keep*keep)
	state := uint64(1)
	for i := 0; i+1 < draws; i += 2 {
		at := 0.0
		for j := 1; j < pathStrides; j++ {
			state = state*6364136223846793005 + 1442695040888963407 // D. Knuth's generator
			at = at*keep + step*math.Sqrt2*math.Erfinv(2*(float64(state>>12)+0.5)/(1<<52)-1)
			out[i][j], out[i+1][j] = float32(at), float32(-at)
		}
	}
	return out
}

// student turns a normal score into one of Student's distribution, by the first terms of
// the expansion of Fisher and Cornish.
func student(z float64) float64 {
	return z + (z*z*z+z)/(4*drawDOF) + (5*math.Pow(z, 5)+16*z*z*z+3*z)/(96*drawDOF*drawDOF)
}

// firstWeight turns the first guess of k that the filter needs, a normal distribution,
// into the published one: of its logarithm. A pack of 3 h is as likely as one of 26.
func firstWeight(k float64) float64 {
	if !(k > kLeast) {
		return 0
	}
	published := square(math.Log(k/kPublished) / kPublishedSpread)
	guessed := square((k - kFirst) / kFirstSpread)
	return math.Exp(min((guessed-published)/2, 50)) / k
}
