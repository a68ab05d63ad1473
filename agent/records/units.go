package records

import (
	"strconv"
	"time"

	"bayward/agent/logbook"
	"bayward/agent/words"
)

// paper formats figures in the units of one reader of a report.
type paper struct{ voice words.Voice }

const none = "–"

func (p paper) known(n logbook.Num, show func(float64) string) string {
	if n == nil {
		return none
	}
	return show(*n)
}

// tempUnit, lengthUnit and volumeUnit head the columns.
func (p paper) tempUnit() string   { return p.voice.Units().Temperature.Symbol }
func (p paper) lengthUnit() string { return p.voice.Units().Length.Symbol }
func (p paper) volumeUnit() string { return p.voice.Units().Volume.Symbol }

// temp, length and volume format figures for columns, without units.
func (p paper) temp(c float64) string    { return p.voice.Units().Temperature.Number(c) }
func (p paper) length(mm float64) string { return p.voice.Units().Length.NumberFine(mm) }
func (p paper) volume(ml float64) string { return p.voice.Units().Volume.Number(ml) }

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
