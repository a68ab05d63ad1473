package web

import (
	"math"
	"strconv"
	"strings"

	"bayward/agent/order"
	"bayward/agent/words"
)

// perMille is the gravity of water as hydrometers print it: 1265 means 1.265.
const perMille = 1000

// mostParts is the finest fraction of an inch on a rule.
const mostParts = 64

// typed reads a number as a person writes it: in the person's unit or with a unit
// of its own, with a point or a comma, and in inches and fluid ounces also as a
// fraction ("1/2", "1 3/16", "½"). The result is in the field's unit.
func typed(v words.Voice, of *order.Field, text string) (x float64, ok bool) {
	text, in := unitOf(strings.TrimSpace(text), v.Typed(of.Unit))
	if x, ok = decimal(text); !ok && in.ByParts {
		x, ok = fraction(text)
	}
	if !ok {
		return 0, false
	}
	x = in.SI(x)
	if of == order.GravityField && x >= perMille*of.Low {
		x /= perMille
	}
	return within(of, x)
}

// within checks a number against the bounds of its field. A bound that was converted
// to another unit and back is still that bound.
func within(of *order.Field, x float64) (float64, bool) {
	const rounding = 1e-9
	margin := rounding * max(math.Abs(of.Low), math.Abs(of.High))
	if !(x >= of.Low-margin && x <= of.High+margin) { // NaN is not within
		return 0, false
	}
	return min(max(x, of.Low), of.High), true
}

// unitOf cuts off the unit that a person wrote after the number, if any.
func unitOf(text string, usual words.Measure) (string, words.Measure) {
	for _, m := range words.Alike(usual) {
		for _, name := range m.Names() {
			if cut := len(text) - len(name); cut > 0 && strings.EqualFold(text[cut:], name) {
				return strings.TrimSpace(text[:cut]), m
			}
		}
	}
	return text, usual
}

// decimal reads digits with at most one point or comma. It takes nothing else that
// strconv would: no exponents, no hexadecimals, no names of numbers.
func decimal(text string) (float64, bool) {
	const most = 24
	text = strings.Replace(text, "−", "-", 1)
	digits := strings.TrimPrefix(strings.TrimPrefix(text, "-"), "+")
	if digits == "" || len(digits) > most || len(text)-len(digits) > 1 || strings.Trim(digits, "0123456789.,") != "" {
		return 0, false
	}
	x, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	return x, err == nil
}

// vulgar are the fractions that phones write as one character.
var vulgar = strings.NewReplacer("½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8", "⁄", "/")

// fraction reads "7/16", "1 3/16" and "1-3/16": parts of a whole below 1, the
// number of parts a power of two as on a rule.
func fraction(text string) (float64, bool) {
	text = strings.TrimSpace(vulgar.Replace(text))
	whole, parts, mixed := cutLast(text)
	if !mixed {
		whole, parts = "0", text
	}
	over, under, found := strings.Cut(parts, "/")
	w, ok1 := count(whole)
	a, ok2 := count(over)
	b, ok3 := count(under)
	if !found || !ok1 || !ok2 || !ok3 || b < 2 || b > mostParts || b&(b-1) != 0 || a >= b {
		return 0, false
	}
	return float64(w) + float64(a)/float64(b), true
}

// cutLast cuts a mixed number between its whole and its parts.
func cutLast(text string) (whole, parts string, found bool) {
	at := strings.LastIndexAny(text, " -")
	if at < 1 {
		return "", "", false
	}
	return strings.TrimRight(text[:at], " "), text[at+1:], true
}

// count reads a whole number of few digits.
func count(text string) (int, bool) {
	const most = 3
	if text == "" || len(text) > most || strings.Trim(text, "0123456789") != "" {
		return 0, false
	}
	n, err := strconv.Atoi(text)
	return n, err == nil
}
