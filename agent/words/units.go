package words

import (
	"slices"
	"strconv"
	"strings"

	"bayward/agent/reading"
)

// Units is one system of units. The program's own figures are all in SI.
type Units struct {
	Name        string // in the configuration
	Length      Measure
	Temperature Measure
	Volume      Measure
	AlsoML      bool // show millilitres beside a volume: jugs have both marks
}

// Measure is how one quantity is shown. A displayed figure is the SI figure times
// Num over Den, plus Offset.
type Measure struct {
	Symbol           string
	Num, Den, Offset float64
	Digits, Fine     int // after the point: usually, and where a fraction matters
	// ByParts means that people also write fractions, such as 3/16.
	ByParts bool
	Also    []string // other ways to write the symbol
}

// systems is the only list; the first is the default. Factors: NIST SP 811,
// appendix B: 1 in = 25.4 mm, 1 US fluid ounce = 29.57353 ml, °F = 1.8 °C + 32.
var systems = []*Units{
	{
		Name: "si", Length: Measure{Symbol: "mm", Num: 1, Den: 1, Fine: 1},
		Temperature: Measure{Symbol: "°C", Num: 1, Den: 1, Digits: 1, Fine: 1, Also: []string{"C"}}, Volume: Measure{Symbol: "ml", Num: 1, Den: 1},
	},
	{
		Name: "us", Length: Measure{Symbol: "in", Num: 1, Den: 25.4, Digits: 2, Fine: 2, ByParts: true, Also: []string{"inch", `"`, "″"}},
		Temperature: Measure{Symbol: "°F", Num: 9, Den: 5, Offset: 32, Fine: 1, Also: []string{"F"}},
		Volume:      Measure{Symbol: "fl oz", Num: 1, Den: 29.57353, Digits: 1, Fine: 1, ByParts: true, Also: []string{"floz", "oz"}},
		AlsoML:      true,
	},
}

// Systems returns the names of all systems of units, the default first.
func Systems() []string {
	names := make([]string, len(systems))
	for i, u := range systems {
		names[i] = u.Name
	}
	return names
}

// UnitsOf returns the system of that name; for an unknown name, the default.
func UnitsOf(name string) *Units {
	for _, u := range systems {
		if u.Name == name {
			return u
		}
	}
	return systems[0]
}

// IsSystem reports whether there is a system of units of this name.
func IsSystem(name string) bool { return UnitsOf(name).Name == name }

// Alike returns the measures of m's quantity in every system of units; only m if no
// system has it.
func Alike(m Measure) []Measure {
	for _, quantity := range []func(*Units) Measure{
		func(u *Units) Measure { return u.Length }, func(u *Units) Measure { return u.Temperature }, func(u *Units) Measure { return u.Volume },
	} {
		var all []Measure
		for _, u := range systems {
			all = append(all, quantity(u))
		}
		if slices.ContainsFunc(all, func(like Measure) bool { return like.Symbol == m.Symbol }) {
			return all
		}
	}
	return []Measure{m}
}

// Names returns how people write the unit, the symbol first.
func (m Measure) Names() []string { return append([]string{m.Symbol}, m.Also...) }

// Of converts an SI figure to this unit; SI converts back.
func (m Measure) Of(si float64) float64 { return si*m.Num/m.Den + m.Offset }

// SI converts a figure in this unit to SI.
func (m Measure) SI(x float64) float64 { return (x - m.Offset) * m.Den / m.Num }

// Number formats an SI figure without its unit, as in a column.
func (m Measure) Number(si float64) string { return reading.Digits(m.Of(si), m.Digits) }

// NumberFine is Number with the digits for small differences.
func (m Measure) NumberFine(si float64) string { return reading.Digits(m.Of(si), m.Fine) }

// Show formats an SI figure with its unit.
func (m Measure) Show(si float64) string { return m.Number(si) + " " + m.Symbol }

// ShowShort is Show with the digits for small differences, without a trailing 0.
func (m Measure) ShowShort(si float64) string {
	return strings.TrimSuffix(m.NumberFine(si), ".0") + " " + m.Symbol
}

// ShowDifference formats a difference of two figures, without the offset.
func (m Measure) ShowDifference(si float64) string {
	return strconv.FormatFloat(si*m.Num/m.Den, 'f', m.Fine, 64) + " " + m.Symbol
}
