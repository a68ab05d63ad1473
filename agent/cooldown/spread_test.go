package cooldown_test

import (
	"math"
	"math/rand/v2"
	"time"

	"bayward/agent/cooldown"
	"bayward/agent/reading"
)

// bay is a cool-down by a model of its own: the blocks inside a tray and those at its
// edge are two lumps, and only the edge loses heat, by radiation and by free convection
// that weakens as the excess falls. What the air does has a daily cycle, doors and
// weather; sensors are off by a constant, lag and round. The rule assumes none of it.
type bay struct {
	seed             uint64
	tauH             float64 // of the whole pack at an excess of 10 K
	convective, bend float64 // share of free convection in the loss, and its exponent
	inner, innerH    float64 // share of the heat capacity inside, and how fast it follows, h
	inside           bool    // the sensor is in an inner cell
	startK           float64 // excess at the end of the charge
	innerK           float64 // how much hotter the inside is then
	airC, swingK     float64
	phaseH           float64
	strayK, strayH   float64 // weather: spread and time constant
	doorK            float64 // an open door, from doorH for doorForH
	doorH, doorForH  float64
	sunK, sunH       float64
	gust, fan        float64 // spread of the loss over time; a fan that starts at fanH multiplies it
	fanH             float64
	share, told      float64 // what the sensor shows of the excess, and what is configured
	lagH             float64
	noiseK, stepK    float64
	packOff, airOff  float64 // constant errors of the sensors, K
	memory           *cooldown.Memory
	restartH         float64 // when the program starts again, 0 for never
}

// spreads are the limits between which nights are drawn.
type spreads struct {
	tauLow, tauHigh       float64
	swingLow, swingHigh   float64
	strayHigh, gustHigh   float64
	sunOne, doorOne       uint64 // one night in so many
	noiseHigh, offK       float64
	shareLow, shareHigh   float64
	convectLow, convectHi float64
	startLow, startHigh   float64
}

// published are the spreads that nights are drawn from.
//
//   - Time constant: C/(h A) with 1004 J/(kg K) and 507 kg, 2.0184 m² (the System Advisor
//     Model's own test, testdata/data/published_expectations_thermal.csv: 3.5 h at
//     20 W/(m² K)) is 5 to 14 h at the 5 to 14 W/(m² K) of still air; the Model's own run
//     has 12.4 h; testdata/reference/cooling_checks.csv spans 4.5 to 10 h. Light blocks a
//     few hours, tight trays a day (from memory).
//   - Film: radiation is linear; free convection goes with the excess to the power 0.25
//     to 0.33 (vertical plates, laminar to turbulent; textbook, from memory), and is 0.2
//     to 0.7 of the loss.
//   - Air: 2 to 14 K between a day's extremes (climate normals of land stations, from
//     memory), half of which reaches a shed.
//   - Sensors: ±0.5 °C and 1/16 or 1/2 °C steps (data sheets of digital ones, from
//     memory). On the case: 2.5 to 6 mm of polypropylene and 5 to 12 W/(m² K) drop 6 to
//     26 % of the excess.
var published = spreads{
	tauLow: 3, tauHigh: 26, swingLow: 0.5, swingHigh: 7, strayHigh: 1.5, gustHigh: 0.2, sunOne: 4, doorOne: 5,
	noiseHigh: 0.3, offK: 0.5, shareLow: 0.74, shareHigh: 0.94, convectLow: 0.2, convectHi: 0.7, startLow: 8, startHigh: 26,
}

// heldOut are spreads of another shape: fewer light packs, steadier air with stronger weather, more sun and doors, worse sensors.
var heldOut = spreads{
	tauLow: 5, tauHigh: 30, swingLow: 0.2, swingHigh: 4, strayHigh: 2.2, gustHigh: 0.3, sunOne: 3, doorOne: 3,
	noiseHigh: 0.4, offK: 0.7, shareLow: 0.70, shareHigh: 0.97, convectLow: 0.4, convectHi: 0.9, startLow: 10, startHigh: 22,
}

// openYard are spreads that go beyond the published ones: packs of 2.5 h to a day and a
// half, the air of an open yard (all of the 2 to 15 K between a day's extremes), light
// winds or gales, thermometers of a degree.
var openYard = spreads{
	tauLow: 2.5, tauHigh: 36, swingLow: 1, swingHigh: 7.5, strayHigh: 1.8, gustHigh: 0.25, sunOne: 5, doorOne: 4,
	noiseHigh: 0.2, offK: 1, shareLow: 0.68, shareHigh: 0.92, convectLow: 0.1, convectHi: 0.8, startLow: 9, startHigh: 30,
}

// bay draws one.
func (s *spreads) bay(seed uint64) bay {
	r := rand.New(rand.NewPCG(seed, 211))
	in := func(low, high float64) float64 { return low + r.Float64()*(high-low) }
	b := bay{
		seed: seed, tauH: math.Exp(in(math.Log(s.tauLow), math.Log(s.tauHigh))), convective: in(s.convectLow, s.convectHi), bend: in(0.25, 0.33),
		inner: in(0.3, 0.7), innerH: in(0.3, 2), inside: r.IntN(2) == 0, startK: in(s.startLow, s.startHigh), innerK: in(0, 5),
		airC: in(0, 28), swingK: in(s.swingLow, s.swingHigh), phaseH: in(-6, 14), strayK: in(0.1, s.strayHigh), strayH: in(2, 6),
		gust: in(0, s.gustHigh), fan: 1, fanH: in(0, 10), share: 1, told: 1, lagH: in(0.03, 0.3), noiseK: in(0.02, s.noiseHigh), stepK: 0.0625,
		packOff: in(-s.offK, s.offK), airOff: in(-s.offK, s.offK),
	}
	b.innerH *= b.tauH / 8
	if seed%s.sunOne == 0 {
		b.sunK, b.sunH = in(1, 5), in(0.5, 5)
	}
	if seed%s.doorOne == 1 {
		b.doorK, b.doorH, b.doorForH = in(-5, 2), in(0, 8), in(0.3, 2)
	}
	if seed%10 == 2 {
		b.fan = in(0.6, 1.5)
	}
	if seed%8 == 3 {
		b.stepK = 0.5
	}
	return b
}

// onCase puts the sensor on the jar.
func (b *bay) onCase(s *spreads) {
	r := rand.New(rand.NewPCG(b.seed, 212))
	b.share, b.told = s.shareLow+r.Float64()*(s.shareHigh-s.shareLow), cooldown.CaseShare
	b.lagH += 0.05 + 0.1*r.Float64()
}

// run goes through the night until look says to stop, for at most mostH.
func (b *bay) run(mostH float64, look func(h float64, s *cooldown.Status) bool) *cooldown.Rest {
	cfg := usual()
	cfg.SensorShare = b.told
	rule := cooldown.New(cfg)
	if b.memory != nil { // taught in an earlier night; another charge began since
		rule.Restore(b.memory)
		rule.Step(&cooldown.Inputs{Now: 0})
	}
	r := rand.New(rand.NewPCG(b.seed, 213))
	const every = 10 * time.Second
	dtH := every.Hours()
	stray, gust, shown := b.strayK*r.NormFloat64(), 0.0, math.NaN()
	air := func(h float64) float64 {
		c := b.airC + b.swingK*math.Cos(2*math.Pi*(h+b.phaseH)/24) + stray
		if h >= b.doorH && h < b.doorH+b.doorForH {
			c += b.doorK
		}
		return c
	}
	edgeC := max(air(0)+b.startK, 30)
	innerC := edgeC + b.innerK
	for i := 0; float64(i)*dtH <= mostH; i++ {
		h, now := float64(i)*dtH, time.Duration(i+1)*every
		stray += -stray*dtH/b.strayH + b.strayK*math.Sqrt(2*dtH/b.strayH)*r.NormFloat64()
		gust += -gust*dtH + b.gust*math.Sqrt(2*dtH)*r.NormFloat64()
		airC := air(h)
		around := airC
		if h < b.sunH {
			around += b.sunK
		}
		excess := edgeC - around
		film := (1 - b.convective + b.convective*math.Pow(math.Abs(excess)/10, b.bend)) * max(1+gust, 0.3)
		if h > b.fanH {
			film *= b.fan
		}
		within := (innerC - edgeC) / b.innerH
		edgeC += (-excess*film/b.tauH/(1-b.inner) + within*b.inner/(1-b.inner)) * dtH
		innerC -= within * dtH
		cellC := edgeC
		if b.inside {
			cellC = innerC
		}
		seen := airC + b.share*(cellC-airC)
		if math.IsNaN(shown) {
			shown = seen - 1
		}
		shown += (seen - shown) * (1 - math.Exp(-dtH/b.lagH))
		if b.restartH > 0 && h >= b.restartH {
			memory, ok := rule.Memory()
			rule, b.restartH = cooldown.New(cfg), 0
			if ok {
				rule.Restore(&memory)
			} else {
				rule.Restore(nil)
			}
		}
		rule.Step(&cooldown.Inputs{
			Now: now, Full: true, Resting: true, EndedAt: every,
			PackC:    reading.Good(steps(shown+b.packOff+b.noiseK*r.NormFloat64(), b.stepK), now),
			AmbientC: reading.Good(steps(airC+b.airOff+b.noiseK*r.NormFloat64(), 0.0625), now),
		})
		if !look(h, rule.Status()) {
			break
		}
	}
	return rule
}
