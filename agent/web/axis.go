package web

import (
	"math"

	"bayward/agent/bay"
	"bayward/agent/words"
)

// gassingV is the voltage of a cell from which it gasses, at 25 °C: normal gassing by
// TM 10-6140-200-14.
const gassingV = 2.40

// axis is the scale of a curve, in the reader's unit: it shows what the curve is judged by,
// and no less than a span in which noise stays small.
type axis struct {
	Low, High float64
	Step      float64
	Limits    []axisLimit
}

// axisLimit is a value that the curve is judged by.
type axisLimit struct {
	At    float64 `json:"at"`
	Name  string  `json:"name"`
	Class string  `json:"class"`
}

// limitsOf returns what a curve is judged by, in SI, and the least span of its axis.
func limitsOf(p *bay.Picture, v words.Voice, class string) (limits []axisLimit, least float64) {
	switch class {
	case "volts":
		return []axisLimit{{gassingV * float64(p.Pack.Cells), v.Say("curve.gassing"), "gassing"}}, 0.25 * float64(p.Pack.Cells)
	case "heat":
		return []axisLimit{{p.Limits.WateringMaxC, v.Say("curve.watering"), "watering"}}, 15
	case "level":
		return []axisLimit{
			{p.Pack.VentWellMM, v.Say("section.vent"), "vent"}, {p.Pack.FillMarkMM, v.Say("section.mark"), "mark"}, {p.Pack.ChargeLevelMM, v.Say("curve.charge"), "charge"},
		}, 10
	}
	return nil, 10
}

// newAxis returns the axis of a curve between two values in SI; unit converts to the
// reader's unit.
func newAxis(p *bay.Picture, v words.Voice, class string, low, high float64, unit func(float64) float64) axis {
	limits, least := limitsOf(p, v, class)
	for _, l := range limits {
		low, high = min(low, l.At), max(high, l.At)
	}
	if room := least - (high - low); room > 0 {
		low, high = low-room/2, high+room/2
	}
	a := axis{Low: unit(low), High: unit(high)}
	a.Step = niceStep((a.High - a.Low) / 4)
	a.Low, a.High = a.Step*math.Floor(a.Low/a.Step), a.Step*math.Ceil(a.High/a.Step)
	for _, l := range limits {
		a.Limits = append(a.Limits, axisLimit{unit(l.At), l.Name, l.Class})
	}
	return a
}

// niceStep returns 1, 2 or 5 times a power of ten, at least as large as the given one.
func niceStep(x float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, n := range []float64{1, 2, 5} {
		if n*power >= x*(1-1e-9) {
			return n * power
		}
	}
	return 10 * power
}

// y returns the place of a value in a box of that height.
func (a *axis) y(value, high float64) float64 {
	return math.Round(10*high*(a.High-value)/(a.High-a.Low)) / 10
}

// ticks returns the values that are marked, the lowest first.
func (a *axis) ticks() (all []float64) {
	for n := 0; ; n++ {
		at := a.Low + float64(n)*a.Step
		if at > a.High+a.Step/2 {
			return all
		}
		all = append(all, math.Round(at/a.Step)*a.Step)
	}
}
