package cooldown_test

import (
	"math"
	"math/rand/v2"
	"time"

	"bayward/agent/cooldown"
	"bayward/agent/reading"
)

const tick = 10 * time.Second

// night is one simulated cool-down with its own physics: one lump that loses heat
// to an air temperature that swings and strays, with sun on the lid, and a sensor
// with lag, noise and steps. The rule knows none of its figures.
type night struct {
	tauH, startC     float64
	airC, swingK     float64 // mean of the air and half its daily swing
	phaseH           float64 // end of the charge, hours after the warmest hour
	strayK           float64 // slow wander of the air
	sunK, sunH       float64 // how much warmer the sun makes the air seem, and until when
	share, lagH      float64 // what the sensor shows of the excess, and how late
	noiseK, stepK    float64
	gust             float64 // spread of the heat loss over time, as a share
	limits           cooldown.Config
	seed             uint64
	memory           *cooldown.Memory
	blind            bool // no reading of the air
	gapFrom, gapForH float64
}

// someNight draws a night from the seed.
func someNight(seed uint64) night {
	r := rand.New(rand.NewPCG(seed, 77))
	in := func(low, high float64) float64 { return low + r.Float64()*(high-low) }
	n := night{
		tauH: math.Exp(in(math.Log(4), math.Log(18))), airC: in(5, 28), swingK: in(1, 6), phaseH: in(-2, 12),
		strayK: in(0.2, 1.2), share: 1, lagH: in(0.03, 0.25), noiseK: in(0.02, 0.3), stepK: 0.0625, gust: in(0, 0.15),
		limits: usual(), seed: seed,
	}
	n.startC = max(n.airC+in(8, 24), 32)
	if seed%4 == 0 { // a bay in the sun, until it sets
		n.sunK, n.sunH = in(1, 5), in(0.5, 5)
	}
	return n
}

// usual returns the limits of bay.DefaultLimits.
func usual() cooldown.Config {
	return cooldown.Config{WateringMaxC: 40, NearAmbientK: 10, FallMaxKPerH: 3, RestMin: time.Hour, HasAmbient: true}
}

// moment is the verdict and the truth at one tick.
type moment struct {
	h, trueC, airC, shownC float64
	said                   cooldown.Status
}

// run goes through the night until the pack counts as cool, for at most mostH.
func (n night) run(mostH float64, look func(m moment) (goOn bool)) *cooldown.Rest {
	cfg := n.limits
	cfg.HasAmbient = !n.blind
	rule := cooldown.New(cfg)
	if n.memory != nil {
		rule.Restore(n.memory)
	}
	r := rand.New(rand.NewPCG(n.seed, 5))
	dtH := tick.Hours()
	trueC, shown, stray, gust := n.startC, math.NaN(), 0.0, 0.0
	for i := 0; float64(i)*dtH <= mostH; i++ {
		h, now := float64(i)*dtH, time.Duration(i)*tick
		stray += -stray*dtH/3 + n.strayK*math.Sqrt(2*dtH/3)*r.NormFloat64()
		gust += -gust*dtH + n.gust*math.Sqrt(2*dtH)*r.NormFloat64()
		airC := n.airC + n.swingK*math.Cos(2*math.Pi*(h+n.phaseH)/24) + stray
		sun := 0.0
		if h < n.sunH {
			sun = n.sunK
		}
		trueC += -(trueC - airC - sun) / n.tauH * max(1+gust, 0.3) * dtH
		seen := airC + n.share*(trueC-airC)
		if math.IsNaN(shown) {
			shown = seen - 1.5
		}
		shown += (seen - shown) * (1 - math.Exp(-dtH/n.lagH))
		in := cooldown.Inputs{Now: now, Full: true, Resting: true}
		gap := h >= n.gapFrom && h < n.gapFrom+n.gapForH
		in.PackC = reading.Good(steps(shown+n.noiseK*r.NormFloat64(), n.stepK), now)
		in.AmbientC = reading.Good(steps(airC+n.noiseK*r.NormFloat64(), n.stepK), now)
		if gap {
			in.PackC, in.AmbientC = reading.Bad(reading.NoAnswer, now), reading.Bad(reading.NoAnswer, now)
		}
		if n.blind {
			in.AmbientC = reading.Bad(reading.Missing, now)
		}
		rule.Step(&in)
		if !look(moment{h, trueC, airC, shown, *rule.Status()}) {
			break
		}
	}
	return rule
}

// steps rounds to a sensor's resolution.
func steps(v, step float64) float64 {
	if step == 0 {
		return v
	}
	return math.Round(v/step) * step
}
