package records

import (
	"strconv"
	"time"

	"bayward/agent/logbook"
	"bayward/agent/reading"
)

// paper is how one reader of a report measures.
type paper struct{ us bool }

const none = "–"

func (p paper) known(n logbook.Num, show func(float64) string) string {
	if n == nil {
		return none
	}
	return show(*n)
}

// tempUnit, lengthUnit and volumeUnit head the columns.
func (p paper) tempUnit() string   { return pick(p.us, "°F", "°C") }
func (p paper) lengthUnit() string { return pick(p.us, "in", "mm") }
func (p paper) volumeUnit() string { return pick(p.us, "fl oz", "ml") }

func pick(us bool, ifUS, ifSI string) string {
	if us {
		return ifUS
	}
	return ifSI
}

func (p paper) temp(c float64) string {
	if p.us {
		return reading.Digits(c*9/5+32, 0)
	}
	return reading.Digits(c, 1)
}

// length in inches: NIST SP 811, appendix B: 25.4 mm.
func (p paper) length(mm float64) string {
	if p.us {
		return reading.Digits(mm/25.4, 2)
	}
	return reading.Digits(mm, 1)
}

// volume in US fluid ounces: NIST SP 811, appendix B: 29.57353 ml.
func (p paper) volume(ml float64) string {
	if p.us {
		return reading.Digits(ml/29.57353, 1)
	}
	return reading.Digits(ml, 0)
}

// at returns a time as a report shows it, with its mark where the clock was not
// set.
func at(s logbook.Stamp) string {
	switch {
	case s.Wall.IsZero():
		return "in progress"
	case !s.Trusted:
		return s.Wall.UTC().Format("2006-01-02 15:04") + " †"
	}
	return s.Wall.UTC().Format("2006-01-02 15:04")
}

func hoursOf(seconds float64) string {
	d := time.Duration(seconds * float64(time.Second)).Round(time.Minute)
	return strconv.Itoa(int(d.Hours())) + ":" + pad2(int(d.Minutes())%60)
}

func pad2(n int) string {
	if n < 10 {
		return "0" + strconv.Itoa(n)
	}
	return strconv.Itoa(n)
}
