package water_test

import (
	"math"
	"math/rand/v2"
	"time"

	"bayward/agent/reading"
	"bayward/agent/water"
)

// user is how a pack is used: whether it works on a day.
type user struct {
	name string
	day  func(r *rand.Rand) func(day int) bool
}

// users are the ways of use that a yard knows.
var users = []user{
	{"five to seven days a week", func(r *rand.Rand) func(int) bool {
		days, first := 5+r.IntN(3), r.IntN(7)
		return func(d int) bool { return (d+first)%7 < days }
	}},
	{"some days a week", func(r *rand.Rand) func(int) bool {
		often := 0.2 + 0.4*r.Float64()
		return func(int) bool { return r.Float64() < often }
	}},
	{"fixed days of the week", func(r *rand.Rand) func(int) bool {
		days := r.Perm(7)[:2+r.IntN(2)]
		return func(d int) bool {
			for _, day := range days {
				if d%7 == day {
					return true
				}
			}
			return false
		}
	}},
	{"five days a week, with holidays", func(r *rand.Rand) func(int) bool {
		first, from, days := r.IntN(7), 3+r.IntN(25), 5+r.IntN(12)
		return func(d int) bool { return (d+first)%7 < 5 && (d < from || d >= from+days) }
	}},
	{"standing, used now and then", func(r *rand.Rand) func(int) bool {
		often := 0.03 + 0.1*r.Float64()
		return func(d int) bool { return d == 0 || r.Float64() < often }
	}},
}

// wideYard is a pack by figures that the balance does not assume.
type wideYard struct {
	r                *rand.Rand
	works            func(day int) bool
	nightMM, nightSD float64 // water of a night's charge, by Faraday's law, and its spread as a share
	habit            float64 // change of the use over a month, as a share
	scale            float64 // true loss over what the gassing law and the current count
	use, level       [12]float64
	fillSD, probeSD  float64
	probeOff, gasMM  float64
	pours            pouring
	rig              *rig
	gas              float64
	day              int
}

// yardSpread are the spreads of a set of yards.
type yardSpread struct{ scale, cellsLow, cellsHigh, startHigh, probeHigh, habit, nightLow, nightHigh float64 }

// publishedYards are the spreads that yards are drawn from.
//
//   - A night's water: testdata/reference/water_use.csv, half to 0.8 of the capacity out
//     and a factor of 1.05 to 1.20: 0.0084 to 0.054 ml for each ampere-hour of capacity,
//     0.15 to 0.93 mm a night for 225 Ah at 13 ml/mm.
//   - Gassing: half to twice the law's rate for two batteries of three (Schiffer et al.
//     2007 give the law's constants as fits for each battery; README), 2 % for the count
//     of the current.
//   - Cells: sound ones differ by a tenth in use and by 1.3 mm in level (common practice,
//     no source), the set's by 4 to 16 % and up to 1.6 mm.
var publishedYards = yardSpread{scale: 0.36, cellsLow: 0.04, cellsHigh: 0.16, startHigh: 1.6, probeHigh: 0.5, habit: 0.15, nightLow: 0.15, nightHigh: 0.93}

// heldOutYards are of another shape, on which no constant was chosen.
var heldOutYards = yardSpread{scale: 0.42, cellsLow: 0.08, cellsHigh: 0.2, startHigh: 1.2, probeHigh: 0.8, habit: 0.2, nightLow: 0.1, nightHigh: 0.6}

func (s *yardSpread) yard(seed uint64, u *user) *wideYard {
	r := rand.New(rand.NewPCG(seed, 301))
	in := func(low, high float64) float64 { return low + r.Float64()*(high-low) }
	y := &wideYard{
		r: r, works: u.day(r), nightMM: math.Exp(in(math.Log(s.nightLow), math.Log(s.nightHigh))), nightSD: in(0.1, 0.5), habit: s.habit * r.NormFloat64(),
		scale: math.Exp(s.scale*r.NormFloat64()) * (1 + 0.02*r.NormFloat64()), fillSD: in(0.3, 1.2), probeSD: in(0.02, s.probeHigh), probeOff: 0.4 * r.NormFloat64(), gasMM: in(1.5, 4),
		pours: pouring(seed / 2 % 3),
	}
	cells, start := in(s.cellsLow, s.cellsHigh), in(0.3, s.startHigh)
	for i := range y.use {
		y.use[i] = math.Exp(cells * r.NormFloat64())
		y.level[i] = 12.5 + start*r.NormFloat64()
	}
	y.rig = &rig{Balance: water.New(known())}
	return y
}

// pass lets some hours pass, in which so much is lost by Faraday's law.
const yardStep = 6 * time.Hour

func (y *wideYard) pass(lostMM float64) *water.Status {
	y.rig.lose(lostMM)
	for i := range y.level {
		y.level[i] -= lostMM * y.scale * y.use[i]
	}
	to := 0.0
	if y.rig.in.Gassing = lostMM > 0; lostMM > 0 {
		to, y.rig.in.AnyCharge, y.rig.in.ChargeEnded = y.gasMM, true, y.rig.now+yardStep
	}
	y.gas += (to - y.gas) * (1 - math.Exp(-7.5))
	mm := y.level[3] + y.gas + y.probeOff + y.probeSD*y.r.NormFloat64()
	y.rig.in.PackC = reading.Good(25, y.rig.now+yardStep)
	return y.rig.wait(yardStep, mm, mm)
}

func (y *wideYard) lowest() float64 {
	low := math.Inf(1)
	for _, mm := range y.level {
		low = min(low, mm)
	}
	return low
}

// interval goes through the days until the lowest cell is at the lowest level for
// charging, or until mostDays.
func (y *wideYard) interval(mostDays int, look func(h float64, s *water.Status)) (endH float64, reached bool) {
	for d := range mostDays {
		night := 0.0
		if y.works(y.day) {
			night = y.nightMM * max(1+y.nightSD*y.r.NormFloat64(), 0.1) * max(1+y.habit*min(float64(y.day)/30, 3), 0.3)
		}
		y.day++
		for step := range 4 {
			lost := 0.0
			if step == 3 {
				lost = night
			}
			s := y.pass(lost)
			h := float64(d*24 + 6*step + 6)
			if y.lowest() <= 3 {
				return h, true
			}
			look(h, s)
		}
	}
	return float64(mostDays * 24), false
}

// pouring is how the technician pours.
type pouring uint8

const (
	asProposed pouring = iota
	toTheMark          // and records it so
	readFirst          // reads each cell, and pours to the mark
)

// fill waters the pack.
func (y *wideYard) fill() {
	var given [water.MaxCells]float64
	y.pass(0) // until the gas has left
	y.pass(0)
	before := y.rig.Status().SettledMM
	y.rig.in.Visit, y.rig.in.AtCells, y.rig.in.VisitMM, y.rig.in.GivenML = true, true, before, &given
	y.rig.wait(time.Minute, y.level[3], y.level[3])
	need := y.rig.Status().NeedML
	for i := range y.level {
		if y.pours == readFirst {
			y.rig.Level(i+1, y.level[i]+0.6*y.r.NormFloat64())
		}
		up := max(13+y.fillSD*y.r.NormFloat64()-y.level[i], 0)
		if y.pours == asProposed {
			up = need[i] / 13 * (1 + 0.05*y.r.NormFloat64())
		}
		given[i] = up * 13
		y.level[i] += up
	}
	y.rig.wait(10*time.Minute, y.level[3], y.level[3])
	if y.pours != asProposed {
		for i := range y.level {
			y.rig.Mark(i+1, 13)
		}
	}
	y.rig.in.Visit, y.rig.in.AtCells, y.rig.in.GivenML = false, false, nil
	guessed := water.CellSet(0)
	if y.pours == asProposed {
		guessed = 1<<12 - 1
	}
	y.rig.Filled(&given, guessed, before, true, y.rig.in.GassingAh)
	y.pass(0)
}
