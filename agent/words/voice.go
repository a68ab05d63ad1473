package words

import (
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"bayward/agent/reading"
)

// Voice writes sentences in one language and one system of units. Create it with
// New.
type Voice struct {
	words *catalogue
	units *Units
}

// New takes names from Languages and Systems; for an unknown name it uses the
// first.
func New(language, units string) Voice {
	read, ok := catalogues[language]
	if !ok {
		read = catalogues[English]
	}
	return Voice{read(), UnitsOf(units)}
}

// EnglishSI is the voice for what programs read: MQTT, the HTTP interface,
// exports.
func EnglishSI() Voice { return New(English, systems[0].Name) }

// Language returns the name of the language.
func (v Voice) Language() string { return v.words.name }

// Units returns the system of units.
func (v Voice) Units() *Units { return v.units }

// Say returns the text of a key with its values.
func (v Voice) Say(key string, args ...any) string { return v.words.say(key, args...) }

// Cautions returns the cautions, shown wherever a technician is sent to a
// battery.
func (v Voice) Cautions() string { return v.Say("app.cautions") }

// Fault states in a few words why a reading cannot be used, for use after a
// colon.
func (v Voice) Fault(f reading.Fault) string { return v.Word(OfFault(f)) }

// Sensor names a sensor, for a list.
func (v Voice) Sensor(s reading.Sensor) string { return v.Say("sensor." + s.String()) }

// Failure describes why a request to the page failed, by the code that programs
// get, "" for a code that a page never gives.
func (v Voice) Failure(code string) string {
	if key := "failure." + code; v.has(key) {
		return v.Say(key)
	}
	return ""
}

// Unit writes a unit of the configuration, most of which are symbols.
func (v Voice) Unit(name string) string {
	if key := "unit." + strings.ReplaceAll(name, " ", "-"); v.has(key) {
		return v.Say(key)
	}
	return name
}

// Column explains a column of a table of the record, "" for one that explains
// itself.
func (v Voice) Column(table, column string) string {
	for _, key := range []string{"column." + table + "." + column, "column." + column} {
		if v.has(key) {
			return v.Say(key)
		}
	}
	return ""
}

// has reports whether the language has a text for a key.
func (v Voice) has(key string) bool { return v.words.texts[key] != "" }

// Has reports whether the language has a text.
func (v Voice) Has(key string) bool { return v.has(key) }

// figure formats numbers with a unit that is the same everywhere.
func (v Voice) figure(unit string, digits int) func(float64) string {
	return func(x float64) string { return v.Figure(x, digits, unit) }
}

// Figure formats a number with that many decimals and a unit that is the same
// everywhere.
func (v Voice) Figure(x float64, digits int, unit string) string {
	return v.words.point(reading.Digits(x, digits)) + " " + unit
}

// Pointed gives a number that was formatted elsewhere the decimal point of the
// language.
func (v Voice) Pointed(number string) string { return v.words.point(number) }

// plain formats a number of unknown unit.
func (v Voice) plain(x float64) string { return v.words.point(reading.Digits(x, 1)) }

// Temperature formats degrees Celsius.
func (v Voice) Temperature(c float64) string { return v.words.point(v.units.Temperature.Show(c)) }

// Degrees formats a difference of two temperatures, in kelvins.
func (v Voice) Degrees(k float64) string {
	return v.words.point(v.units.Temperature.ShowDifference(k))
}

// Height formats a height above the plate tops, in millimetres.
func (v Voice) Height(mm float64) string { return v.words.point(v.units.Length.Show(zeroedMM(mm))) }

// heightShort formats a height to a tenth of a millimetre, where it has one.
func (v Voice) heightShort(mm float64) string { return v.words.point(v.units.Length.ShowShort(mm)) }

// Level formats the level, in millimetres: both bounds where the probe proves
// only a range.
func (v Voice) Level(lowMM, highMM float64) string {
	if highMM-lowMM < 0.5 {
		return v.Height(lowMM)
	}
	return v.Say("value.to", v.Height(lowMM), v.Height(highMM))
}

// zeroedMM avoids "-0". A level just below the plate tops rounds to -1, because
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

// Volume formats millilitres.
func (v Voice) Volume(ml float64) string {
	text := v.words.point(v.units.Volume.Show(ml))
	if v.units.AlsoML {
		text += " (" + systems[0].Volume.Show(ml) + ")"
	}
	return text
}

// VolumeNumber formats millilitres in the reader's unit, without it, as in a column.
func (v Voice) VolumeNumber(ml float64) string { return v.words.point(v.units.Volume.Number(ml)) }

// Span formats a duration for people; a negative one counts as 0.
func (v Voice) Span(d time.Duration) string {
	d = max(0, d)
	const day = 24 * time.Hour
	switch {
	case d < time.Minute:
		return v.Say("span.s", int(d.Seconds()))
	case d < time.Hour:
		return v.Say("span.min", int(d.Minutes()))
	case d < 2*day:
		return v.hoursMinutes(int(d.Hours()), int(d.Minutes())%60)
	}
	return v.Say("span.days", int(min(d, 10000*day)/day))
}

func (v Voice) hoursMinutes(hours, minutes int) string {
	if minutes == 0 {
		return v.Say("span.hours", hours)
	}
	return v.Say("span.h", hours, minutes)
}

// Hours formats a number of hours like Span.
func (v Voice) Hours(h float64) string {
	const most = 1e6
	return v.Span(time.Duration(min(max(h, 0), most) * float64(time.Hour)))
}

// Capital capitalises the start of a sentence.
func Capital(s string) string {
	if s == "" {
		return s
	}
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:]
}
