package chargetest

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Disturb returns a changed copy of a series.
type Disturb func(Series) Series

func each(f func(*Row)) Disturb {
	return func(s Series) Series {
		out := slices.Clone(s)
		for i := range out {
			f(&out[i])
		}
		return out
	}
}

// Noise adds normal noise of a share of each value; the seed makes it repeatable.
func Noise(share float64, seed uint64) Disturb {
	rng := rand.New(rand.NewPCG(seed, 1)) //nolint:gosec // repeatable noise
	return each(func(r *Row) {
		r.PackV *= 1 + share*rng.NormFloat64()
		r.A *= 1 + share*rng.NormFloat64()
		r.C *= 1 + share*rng.NormFloat64()
	})
}

// Quantise rounds to the steps of a converter with that many bits over twice the
// full scales.
func Quantise(bits int, fullV, fullA float64) Disturb {
	n := math.Pow(2, float64(bits))
	q := func(v, full float64) float64 { d := 2 * full / n; return math.Round(v/d) * d }
	return each(func(r *Row) {
		r.PackV, r.A, r.C = q(r.PackV, fullV), q(r.A, fullA), math.Round(r.C*16)/16
	})
}

// Spikes replaces one value in every so many rows by one far off, alternating
// voltage and current, up and down.
func Spikes(every int, v, a float64) Disturb {
	n := 0
	return each(func(r *Row) {
		n++
		switch n % (4 * every) {
		case 0:
			r.PackV += v
		case every:
			r.A += a
		case 2 * every:
			r.PackV -= v
		case 3 * every:
			r.A -= a
		}
	})
}

// Gaps leaves out rows for gapS seconds in every everyS.
func Gaps(everyS, gapS float64) Disturb {
	return func(s Series) Series {
		return slices.DeleteFunc(slices.Clone(s), func(r Row) bool { return math.Mod(r.S, everyS) < gapS && r.S > s[0].S })
	}
}

// Cut leaves out the rows from one hour to another.
func Cut(fromH, toH float64) Disturb {
	return func(s Series) Series {
		return slices.DeleteFunc(slices.Clone(s), func(r Row) bool { return r.S > fromH*3600 && r.S < toH*3600 })
	}
}

// Swap switches to another series from an hour on, starting at otherH of it.
func Swap(atH float64, other Series, otherH float64) Disturb {
	return func(s Series) Series {
		var out Series
		for _, r := range s {
			if r.S < atH*3600 {
				out = append(out, r)
			}
		}
		for _, r := range other {
			if r.S >= otherH*3600 {
				r.S += (atH - otherH) * 3600
				out = append(out, r)
			}
		}
		return out
	}
}

// LoseCell removes one cell's voltage from a series of so many.
func LoseCell(cells int) Disturb {
	return each(func(r *Row) { r.PackV *= float64(cells-1) / float64(cells) })
}

// Warm shifts the temperature reading, K.
func Warm(k float64) Disturb { return each(func(r *Row) { r.C += k }) }

// Without blanks a column: "a", "c" or "v".
func Without(what string) Disturb {
	return each(func(r *Row) {
		switch what {
		case "a":
			r.A = math.NaN()
		case "c":
			r.C = math.NaN()
		case "v":
			r.PackV = math.NaN()
		}
	})
}

// All applies several disturbances, the first one first.
func All(ds ...Disturb) Disturb {
	return func(s Series) Series {
		for _, d := range ds {
			s = d(s)
		}
		return s
	}
}
