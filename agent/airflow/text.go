package airflow

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"bayward/agent/electrolyte"
)

func notes() []string {
	return []string{
		"Assumes that all bays charge at once in one room; bays in separate rooms each need their own figures.",
		fmt.Sprintf("In a mixed room this air flow keeps hydrogen at %.2f %%: the lower flammable limit, 4 %%, over the standard's factor of 5. It is higher close to the cells.",
			100*electrolyte.HydrogenL(1, atC)/1000/0.055),
		"Place openings in opposite walls, the outlet under the ceiling, or 2 m apart in one wall. They assume air at 0.1 m/s: measure in the worst season with doors shut.",
		fmt.Sprintf("A fan must run on for at least %.0f minutes after a charge (BGHW SP 02), and its failure must stop the charge.", electrolyte.FanRunOnMin),
		"Clause numbers and the formula of the safety distance are from memory: look them up in the edition in force.",
	}
}

func cautions() []string {
	return []string{
		"CAUTION. Hydrogen explodes. A qualified electrician must design, measure and sign off the ventilation; the local code takes precedence.",
		"These figures are only a starting point. bayward is not a certified safety device.",
	}
}

// row is how a figure is displayed.
type row struct {
	label, si string
	us        string
	perUS     float64 // US units in one SI unit
}

func shownAs(name string) row {
	const ft3, minutes = 35.314667, 60
	switch name {
	case GasCurrent:
		return row{"gas current", "A", "A", 1}
	case Hydrogen:
		return row{"hydrogen released", "L/h", "ft³/h", ft3 / 1000}
	case Airflow:
		return row{"air flow needed", "m³/h", "ft³/min", ft3 / minutes}
	case Opening:
		return row{"opening, inlet and outlet each", "cm²", "in²", 1 / 6.4516}
	case Room:
		return row{"least free volume of the room", "m³", "ft³", ft3}
	case Distance:
		return row{"no sparks or flames within", "mm", "in", 1 / 25.4}
	case USAirflow:
		return row{"by the US method, for 1 %", "m³/h", "ft³/min", ft3 / minutes}
	}
	return row{label: name}
}

// Text returns the report as text. With us it adds US units.
func (r *Report) Text(us bool) string {
	var b strings.Builder
	for i := range r.Bays {
		bay := &r.Bays[i]
		fmt.Fprintf(&b, "%s: %s, %d cells, %s Ah, charger %s", bay.Bay, bay.Pack, bay.Cells, plain(bay.CapacityAh), bay.Charger)
		if bay.RatedA > 0 {
			fmt.Fprintf(&b, ", rated %s A", plain(bay.RatedA))
		}
		b.WriteString("\n")
		if bay.Assumed != "" {
			fmt.Fprintf(&b, "  Assumed: %s.\n", bay.Assumed)
		}
		table(&b, bay.Figures, us)
	}
	b.WriteString("All bays at once, in one room\n")
	table(&b, r.Room, us)
	for _, n := range r.Notes {
		fmt.Fprintf(&b, "Note: %s\n", n)
	}
	b.WriteString("\n")
	for _, c := range r.Cautions {
		b.WriteString(c + "\n")
	}
	return b.String()
}

func table(b *strings.Builder, figures []Figure, us bool) {
	for i := range figures {
		f := &figures[i]
		shown := shownAs(f.Name)
		value := roundedUp(f.Value) + " " + shown.si
		if us && shown.us != shown.si {
			value += " (" + roundedUp(f.Value*shown.perUS) + " " + shown.us + ")"
		}
		fmt.Fprintf(b, "  %-31s %s\n      %s: %s\n      %s\n", shown.label, value, f.Formula, f.PutIn, f.Basis)
	}
	b.WriteString("\n")
}

// roundedUp shows three figures, and whole numbers from 100 up. It always rounds up,
// because these are requirements.
func roundedUp(v float64) string {
	decimals := 0
	for decimals < 2 && v*math.Pow10(decimals) < 100 {
		decimals++
	}
	unit := math.Pow10(-decimals)
	return strconv.FormatFloat(math.Ceil(v/unit-1e-6)*unit, 'f', decimals, 64)
}
