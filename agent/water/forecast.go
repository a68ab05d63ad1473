package water

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
)

const (
	day = 24 * time.Hour
	// daysKept is how many daily losses a forecast uses.
	daysKept = 28
	weekDays = 7
	// firstSpread is how much a day's loss differs from the mean, as a share, until
	// two weeks are recorded.
	firstSpread = 0.4
	// habitSpread is how much the use changes from one month to the next.
	habitSpread = 0.12
	// cellSpread is how far the use of the lowest cell may be off the assumed one.
	cellSpread = 0.05
	// scaleSpread is how wrong the gassing law may be for one pack, as a share; it
	// is a fit over many batteries. scaleAges is added at each visit.
	scaleSpread, scaleAges = 0.3, 0.05
	levelErrorMM           = 0.8   // standard error of a settled level
	soonH                  = 72.0  // a visit is due below this forecast, h
	mostForecastH          = 9600. // 400 days: beyond that the figure means nothing
	forecastZ              = 1.645 // for ForecastCoverage
	// forecastEvery saves work per tick: a forecast of days moves slowly.
	forecastEvery = time.Minute
)

// use records the water lost day by day and how the measured loss compares with the
// predicted one.
type use struct {
	daysML  [daysKept]float64 // oldest first
	n       int
	day     int64   // number of the current day, from the beginning
	beganAh float64 // gassing total when it began
	begun   bool
	scale   float64 // measured over predicted loss
	scaleSE float64
}

// pass closes the days that have passed.
func (u *use) pass(since time.Duration, gassingAh float64) {
	today := int64(since / day)
	if !u.begun {
		u.begun, u.day, u.beganAh = true, today, gassingAh
	}
	if today <= u.day {
		return
	}
	lost := electrolyte.WaterML(gassingAh - u.beganAh)
	for u.day = max(u.day, today-daysKept-1); u.day < today; u.day++ {
		u.push(lost)
		lost = 0
	}
	u.beganAh = gassingAh
}

func (u *use) push(ml float64) {
	if u.n == daysKept {
		copy(u.daysML[:], u.daysML[1:])
		u.n--
	}
	u.daysML[u.n] = ml
	u.n++
}

// rate returns a day's mean loss and the spread between like days, ml. It uses
// whole weeks and compares a day with that of the week before: a yard's Sunday is
// not its Monday.
func (u *use) rate() (mean, spread float64, days int) {
	days = u.n
	if days >= weekDays {
		days -= days % weekDays
	}
	if days == 0 {
		return 0, 0, 0
	}
	last := u.daysML[u.n-days : u.n]
	sum, squares := 0.0, 0.0
	for i, ml := range last {
		sum += ml
		if i >= weekDays {
			squares += square(ml - last[i-weekDays])
		}
	}
	mean = sum / float64(days)
	if days < 2*weekDays {
		return mean, firstSpread * mean, days
	}
	return mean, math.Sqrt(squares / 2 / float64(days-weekDays)), days
}

// learn weighs a measured against a predicted loss, mm.
func (u *use) learn(measured, predicted float64) (scale, se float64) {
	if !(predicted > 0) {
		return u.scale, u.scaleSE
	}
	noise := math.Sqrt2 * levelErrorMM
	gain := u.scaleSE * u.scaleSE * predicted / (u.scaleSE*u.scaleSE*predicted*predicted + noise*noise)
	scale = min(max(u.scale+gain*(measured-u.scale*predicted), 0.2), 5)
	return scale, u.scaleSE * math.Sqrt(max(1-gain*predicted, 0))
}

// learnScale stores what the time since the last fill has taught; a level that rose
// by itself teaches nothing.
func (b *Balance) learnScale(beforeMM float64) {
	lost := b.mm(b.s.LostML)
	if !b.anchored || b.open || beforeMM > b.anchorMM+levelErrorMM {
		return
	}
	b.use.scale, b.use.scaleSE = b.use.learn(b.anchorMM-beforeMM, lost)
	b.use.scaleSE = min(math.Hypot(b.use.scaleSE, scaleAges), scaleSpread)
}

// forecast estimates when the lowest cell reaches the lowest level for charging.
// Its range adds up, as shares of the time, the uncertainty of the gassing law, of
// the level, of the recorded days and of the days to come.
func (b *Balance) forecast() {
	if !b.s.Known {
		b.s.ForecastOK = false
		return
	}
	if !b.s.ForecastOK || b.last-b.forecastAt >= forecastEvery {
		b.calculate()
		b.readDue()
		b.forecastAt = b.last
	}
}

// calculate sets the forecast.
func (b *Balance) calculate() {
	mean, spread, days := b.use.rate()
	b.s.ForecastOK = days > 0 && mean > 0
	if !b.s.ForecastOK {
		return
	}
	scale, scaleSE := b.use.scale, b.use.scaleSE
	if b.teaches {
		scale, scaleSE = b.use.learn(b.anchorMM-b.calmMM, b.mm(b.calmLostML))
	}
	left := max(b.s.LowMM-b.cfg.ChargeLevelMM, 0)
	lostPerDay := scale * mean * b.lowUse
	atDays := b.ml(left) / lostPerDay
	b.soonMM = b.mm(lostPerDay * soonH / day.Hours())
	share := spread / mean
	relative := scaleSE*scaleSE/(scale*scale) + habitSpread*habitSpread + cellSpread*cellSpread
	relative += share*share/float64(days) + share*share/max(atDays, 1) + square(levelErrorMM/max(left, levelErrorMM))
	wide := math.Exp(forecastZ * math.Sqrt(relative))
	hours := func(d float64) float64 { return min(d*day.Hours(), mostForecastH) }
	b.s.ForecastH = hours(atDays)
	b.s.ForecastLo, b.s.ForecastHi = hours(atDays/wide), hours(atDays*wide)
}

func square(x float64) float64 { return x * x }
