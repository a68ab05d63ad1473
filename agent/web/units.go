package web

import (
	"fmt"
	"time"
)

const (
	mmPerInch = 25.4 // exact: NIST SP 811, appendix B
	// mlPerFluidOunce is the US fluid ounce: NIST SP 811, appendix B.
	mlPerFluidOunce = 29.57353
)

// view is how one person reads: a language and units.
type view struct {
	*lang
	us bool
}

func (v view) temperature(c float64) string {
	if v.us {
		return fmt.Sprintf("%.0f °F", fahrenheit(c))
	}
	return fmt.Sprintf("%.1f °C", c)
}

func fahrenheit(c float64) float64 { return c*9/5 + 32 }
func celsius(f float64) float64    { return (f - 32) * 5 / 9 }

// degrees is a difference of two temperatures.
func (v view) degrees(k float64) string {
	if v.us {
		return fmt.Sprintf("%.1f °F", k*9/5)
	}
	return fmt.Sprintf("%.1f °C", k)
}

// height is a length in a cell with some digits of a millimetre.
func (v view) height(mm float64, digits int) string {
	if v.us {
		return fmt.Sprintf("%.2f in", mm/mmPerInch)
	}
	return fmt.Sprintf("%.*f mm", digits, mm)
}

// level shows both bounds where the probe proves only a span.
func (v view) level(lowMM, highMM float64) string {
	one := func(mm float64) string { return v.height(zeroedMM(mm), 0) }
	if highMM-lowMM < 0.5 {
		return one(lowMM)
	}
	return v.say("value.to", one(lowMM), one(highMM))
}

// zeroedMM has no "-0"; a level just below the plate tops rounds to -1, since
// bare plates must not read as 0.
func zeroedMM(mm float64) float64 {
	switch {
	case mm > -0.005 && mm < 0.5:
		return 0
	case mm < 0 && mm > -1:
		return -1
	}
	return mm
}

// volume keeps millilitres beside fluid ounces: jugs have both marks.
func (v view) volume(ml float64) string {
	if v.us {
		return fmt.Sprintf("%.1f fl oz (%.0f ml)", ml/mlPerFluidOunce, ml)
	}
	return fmt.Sprintf("%.0f ml", ml)
}

// lengthUnit and temperatureUnit label what a person writes; lengthMM and
// degreesC take it back.
func (v view) lengthUnit() string {
	if v.us {
		return "in"
	}
	return "mm"
}

func (v view) temperatureUnit() string {
	if v.us {
		return "°F"
	}
	return "°C"
}

func (v view) lengthMM(x float64) float64 {
	if v.us {
		return x * mmPerInch
	}
	return x
}

func (v view) degreesC(x float64) float64 {
	if v.us {
		return celsius(x)
	}
	return x
}

// span says a duration as people do; a negative one is none.
func (v view) span(d time.Duration) string {
	d = max(0, d)
	const day = 24 * time.Hour
	switch {
	case d < time.Minute:
		return v.say("span.s", int(d.Seconds()))
	case d < time.Hour:
		return v.say("span.min", int(d.Minutes()))
	case d < 2*day:
		return v.say("span.h", int(d.Hours()), int(d.Minutes())%60)
	}
	return v.say("span.days", int(min(d, 10000*day)/day))
}

func hours(h float64) time.Duration {
	const most = 1e6
	return time.Duration(min(max(h, 0), most) * float64(time.Hour))
}
