package water

import "math"

const (
	// What a pack uses before it has shown it. A night takes 8 to 54 µl for each
	// ampere-hour of capacity (testdata/reference/water_use.csv: half to 0.8 of the
	// capacity, a factor of 1.05 to 1.20), which is about 0.3 % of 7 ml of electrolyte,
	// and three days of five have one. That counts as firstDays of being watched.
	firstNight, firstOften, firstDays = 0.003, 0.6, 1.6
	// firstChance is the variance of the loss of some days over that of nights that
	// come by chance (Poisson), until chanceDays were compared with those of the week
	// before: a working week is more regular, a spare truck is not.
	firstChance, chanceDays = 0.8, 7.0
	// standShare of a usual night's loss is a day of use.
	standShare = 0.1
	// standOdd is after how many missed nights a stand counts as half a holiday, half
	// chance.
	standOdd = 2.0
	// standShape is of how long a stand goes on that has lasted for some time: as many
	// days again, or many more (Lomax's distribution, of an exponential time whose mean
	// is unknown).
	standShape = 2.0
)

// habits are how a pack is used; ml by Faraday's law.
type habits struct {
	perDay float64           // mean of a day
	night  float64           // of a day of use
	nights float64           // how many of them the mean rests on
	chance float64           // variance of the loss of some days over that of chance
	week   [weekDays]float64 // by days of the week, from the first day of the memory
	phase  float64           // now, in days from that day
	stand  float64           // scale of the days for which a holiday goes on, see standsOn
}

// habitsNow returns the habits. What a day has shown fades in over the next one, so
// nothing jumps when it closes.
func (u *use) habitsNow(today, firstML float64) habits {
	days := u.daysML[:u.n]
	first := u.day - int64(u.n)
	if u.n == 0 {
		h := daysHabits(nil, 0, firstML)
		h.phase = float64(u.day%weekDays) + today
		return h
	}
	newer := days
	if u.n == daysKept { // the oldest fades out meanwhile
		newer = days[1:]
	}
	h := daysHabits(days[:u.n-1], first, firstML)
	to := daysHabits(newer, first+int64(u.n-len(newer)), firstML)
	h.blend(&to, today)
	h.phase = float64(u.day%weekDays) + today
	return h
}

// blend moves the habits a share of the way.
func (h *habits) blend(to *habits, share float64) {
	for _, x := range [...]struct{ at, to *float64 }{{&h.perDay, &to.perDay}, {&h.night, &to.night}, {&h.nights, &to.nights}, {&h.chance, &to.chance}} {
		*x.at += share * (*x.to - *x.at)
	}
	for i := range h.week {
		h.week[i] += share * (to.week[i] - h.week[i])
	}
}

// daysHabits returns the habits that some days show, the first of which has a number.
func daysHabits(days []float64, first int64, firstML float64) habits {
	sum, squares := 0.5*firstML, 0.5*firstML*firstML
	var by, count [weekDays]float64
	for i, ml := range days {
		sum, squares = sum+ml, squares+ml*ml
		d := (first + int64(i)) % weekDays
		by[d] += ml
		count[d]++
	}
	h := habits{night: squares / sum}
	mean, n := 0.0, float64(len(days))
	for d := range by {
		if len(days) >= weekDays { // each day of the week counts alike
			mean += by[d] / count[d] / weekDays
		} else {
			mean += by[d] / max(n, 1)
		}
	}
	h.perDay = (firstOften*firstML*firstDays + mean*n) / (firstDays + n)
	h.nights = h.perDay * (firstDays + n) / h.night
	h.chance = h.chanceOf(days)
	total := 0.0
	for d := range by {
		h.week[d] = (by[d] + h.perDay) / (count[d] + 1)
		total += h.week[d] / weekDays
	}
	for d := range by {
		h.week[d] *= h.perDay / total
	}
	return h
}

// chanceOf compares days with those of the week before.
func (h *habits) chanceOf(days []float64) float64 {
	squares, n := 0.0, 0.0
	for i := weekDays; i < len(days); i++ {
		squares += square(days[i]-days[i-weekDays]) / 2
		n++
	}
	return (chanceDays*firstChance + squares/(h.night*h.perDay)) / (chanceDays + n)
}

// over returns the likely loss of the days from one time to another, both in days from
// now.
func (h *habits) over(from, to float64) float64 {
	if !(to > from) {
		return 0
	}
	weeks := math.Floor((to - from) / weekDays)
	ml := weeks * weekDays * h.perDay
	for at, end := h.phase+from, h.phase+to-weeks*weekDays; at < end; {
		next := min(math.Floor(at)+1, end)
		d := int(math.Mod(math.Floor(at), weekDays))
		if d < 0 {
			d += weekDays
		}
		ml += (next - at) * h.week[d]
		at = next
	}
	return ml
}

// standing takes that the pack has stood for some days. A working pack that misses
// its nights is on holiday: its use is that of before, and begins again some day. One
// that is seldom used just has not been used.
func (u *use) standing(h *habits, today, todayML, firstML float64) {
	idle := 0
	for idle < u.n && u.daysML[u.n-1-idle] < standShare*h.night {
		idle++
	}
	if todayML >= standShare*h.night {
		return
	}
	days := float64(idle) + today
	missed := h.over(-days, 0) / h.night
	odd := square(missed) / (square(missed) + square(standOdd))
	before := daysHabits(u.daysML[:u.n-idle], u.day-int64(u.n), firstML)
	by := math.Pow(before.perDay/h.perDay, odd)
	h.perDay *= by
	for d := range h.week {
		h.week[d] *= by
	}
	h.stand = odd * (days + 1)
}

// standsOn returns for how many more days the pack stands, at a quantile.
func (h *habits) standsOn(quantile float64) float64 {
	return h.stand * (math.Pow(1-quantile, -1/standShape) - 1)
}
