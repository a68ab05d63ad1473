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
	// scaleSpread is how wrong the gassing law may be for one pack, as a share; it
	// is a fit over many batteries, one of which may gas at half or twice its rate.
	// scaleAges is added at each visit.
	scaleSpread, scaleAges = 0.38, 0.05
	levelErrorMM           = 0.8   // standard error of a settled level
	soonH                  = 72.0  // a visit is due below this forecast, h
	mostForecastH          = 9600. // 400 days: beyond that the figure means nothing
	// forecastEvery saves work per tick: a forecast of days moves slowly.
	forecastEvery = 10 * time.Minute
	// flatOver and scaleOver are how fast the forecast follows a level that noise moves,
	// and what that level teaches of the gassing.
	flatOver, scaleOver = time.Hour, 3 * time.Hour
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

// rate returns a day's mean loss, ml. It uses whole weeks: a yard's Sunday is not its
// Monday.
func (u *use) rate() (mean float64, days int) {
	days = u.n
	if days >= weekDays {
		days -= days % weekDays
	}
	if days == 0 {
		return 0, 0
	}
	sum := 0.0
	for _, ml := range u.daysML[u.n-days : u.n] {
		sum += ml
	}
	return sum / float64(days), days
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

// steady is what the forecast follows: the calm level and the scale of the gassing,
// without the noise of the probe.
type steady struct {
	mm, lostML float64 // level, and the water that the balance had lost then
	known      bool
	scale      float64 // 0: not set
	at         time.Duration
}

// steadily takes this step's level and scale.
func (b *Balance) steadily() {
	y := &b.steady
	dt := max(b.last-y.at, 0)
	y.at = b.last
	scale, _ := b.scaleNow()
	if !(y.scale > 0) {
		y.scale = scale
	}
	y.scale *= math.Pow(scale/y.scale, part(dt, scaleOver))
	calm := b.teaches && b.calmMM == b.s.SettledMM && b.calmLostML == b.s.LostML
	now := y.mm - y.scale*b.mm(b.s.LostML-y.lostML)
	switch {
	case !b.anchored || y.lostML > b.s.LostML: // filled since
		y.known = false
	case !calm:
	case !y.known || math.Abs(b.calmMM-now) > unrecordedMM:
		y.mm, y.lostML, y.known = b.calmMM, b.calmLostML, true
	default:
		y.mm, y.lostML = now+part(dt, flatOver)*(b.calmMM-now), b.calmLostML
	}
}

// levelMM returns the pilot's settled level as the forecast takes it.
func (y *steady) levelMM(b *Balance) float64 {
	if !y.known || b.atCells {
		return b.s.SettledMM
	}
	return y.mm - y.scale*b.mm(b.s.LostML-y.lostML)
}

// scaleNow returns what is known of the gassing so far.
func (b *Balance) scaleNow() (scale, se float64) {
	if b.teaches {
		mm, lostML := b.calmMM, b.calmLostML
		if b.steady.known {
			mm, lostML = b.steady.mm, b.steady.lostML
		}
		return b.use.learn(b.anchorMM-mm, b.mm(lostML))
	}
	return b.use.scale, b.use.scaleSE
}

func part(dt, over time.Duration) float64 { return float64(dt) / float64(dt+over) }

// forecast estimates when the lowest cell reaches the lowest level for charging.
func (b *Balance) forecast() {
	b.steadily()
	b.lost()
	if !b.s.Known {
		b.s.ForecastOK = false
		return
	}
	if !b.s.ForecastOK || b.last-b.forecastAt >= forecastEvery || b.last < b.forecastAt {
		b.calculate()
		b.readDue()
		b.forecastAt = b.last
	}
}

// calculate sets the forecast.
func (b *Balance) calculate() {
	p := b.passage()
	b.s.ForecastOK = true
	b.s.ForecastH, b.s.ForecastLo, b.s.ForecastHi = p.after(0.5), p.after(tail), p.after(1-tail)
	b.soonMM = b.mm(p.scale*p.use.perDay*b.lowUse) * soonH / day.Hours()
}

func square(x float64) float64 { return x * x }
