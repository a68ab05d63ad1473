package records

import (
	"strconv"
	"time"

	"bayward/agent/logbook"
	"bayward/agent/reading"
	"bayward/agent/words"
)

// paper formats figures and times for one reader of a report.
type paper struct {
	voice words.Voice
	zone  *time.Location
}

const none = "–"

// T returns a text of a report; the template uses it, too.
func (p paper) T(key string, args ...any) string { return p.voice.Say("report."+key, args...) }

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
func (p paper) temp(c float64) string { return p.voice.Pointed(p.voice.Units().Temperature.Number(c)) }
func (p paper) length(mm float64) string {
	return p.voice.Pointed(p.voice.Units().Length.NumberFine(mm))
}
func (p paper) volume(ml float64) string { return p.voice.Pointed(p.voice.Units().Volume.Number(ml)) }

// digits formats a figure whose unit is the same everywhere.
func (p paper) digits(n int) func(float64) string {
	return func(v float64) string { return p.voice.Pointed(reading.Digits(v, n)) }
}

const minuteForm = "2006-01-02 15:04"

// local reports whether the reader's clock shows another time than UTC.
func (p paper) local(t time.Time) bool {
	_, offset := t.In(p.zone).Zone()
	return offset != 0
}

// clock returns a time by the reader's clock with its zone, and UTC beside it.
func (p paper) clock(t time.Time, between string) string {
	utc := t.UTC()
	if !p.local(t) {
		return utc.Format(minuteForm)
	}
	form := "15:04"
	here := t.In(p.zone)
	if here.Format(time.DateOnly) != utc.Format(time.DateOnly) {
		form = minuteForm
	}
	return here.Format(minuteForm+" MST") + between + "(" + utc.Format(form) + " UTC)"
}

// at returns a time for a column, on two lines where the zone is not UTC, with its
// mark where the clock was not set.
func (p paper) at(s logbook.Stamp) string { return p.stamped(s, "\n") }

// on does the same for a sentence.
func (p paper) on(s logbook.Stamp) string { return p.stamped(s, " ") }

func (p paper) stamped(s logbook.Stamp, between string) string {
	switch {
	case s.Wall.IsZero():
		return p.T("in-progress")
	case !s.Trusted:
		return p.clock(s.Wall, between) + " †"
	}
	return p.clock(s.Wall, between)
}

// day returns a date by the reader's clock.
func (p paper) day(t time.Time) string { return t.In(p.zone).Format(time.DateOnly) }

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
