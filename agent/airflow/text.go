package airflow

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"bayward/agent/electrolyte"
	"bayward/agent/words"
)

func notes(v words.Voice) []string {
	return []string{
		v.Say("airflow.note.rooms"),
		v.Say("airflow.note.mixed", 100*electrolyte.HydrogenL(1, atC)/1000/0.055),
		v.Say("airflow.note.openings"),
		v.Say("airflow.note.fan", float64(electrolyte.FanRunOnMin)),
		v.Say("airflow.note.memory"),
	}
}

func cautions(v words.Voice) []string {
	return []string{v.Say("airflow.caution.design"), v.Say("airflow.caution.start")}
}

// unit is how a figure is displayed.
type unit struct {
	si, us string
	perUS  float64 // US units in one SI unit
}

const (
	ft3     = 35.314667
	minutes = 60
)

var units = map[string]unit{
	GasCurrent: {"A", "A", 1},
	Hydrogen:   {"L/h", "ft³/h", ft3 / 1000},
	Airflow:    {"m³/h", "ft³/min", ft3 / minutes},
	Opening:    {"cm²", "in²", 1 / 6.4516},
	Room:       {"m³", "ft³", ft3},
	Distance:   {"mm", "in", 1 / 25.4},
	USAirflow:  {"m³/h", "ft³/min", ft3 / minutes},
}

// Text returns the report as text. With us it adds US units.
func (r *Report) Text(us bool) string {
	var b strings.Builder
	v := r.voice
	for i := range r.Bays {
		bay := &r.Bays[i]
		key := "airflow.bay"
		if bay.RatedA > 0 {
			key = "airflow.bay.rated"
		}
		b.WriteString(v.Say(key, bay.Bay, bay.Pack, float64(bay.Cells), plain(bay.CapacityAh), bay.Charger, plain(bay.RatedA)) + "\n")
		if bay.Assumed != "" {
			b.WriteString("  " + v.Say("airflow.assumed", bay.Assumed) + "\n")
		}
		table(&b, v, bay.Figures, us)
	}
	b.WriteString(v.Say("airflow.all") + "\n")
	table(&b, v, r.Room, us)
	for _, n := range r.Notes {
		b.WriteString(v.Say("airflow.note", n) + "\n")
	}
	b.WriteString("\n")
	for _, c := range r.Cautions {
		b.WriteString(c + "\n")
	}
	return b.String()
}

func table(b *strings.Builder, v words.Voice, figures []Figure, us bool) {
	name := func(f string) string { return v.Say("airflow.figure." + f) }
	width := 0
	for f := range units {
		width = max(width, utf8.RuneCountInString(name(f)))
	}
	for i := range figures {
		f := &figures[i]
		shown := units[f.Name]
		value := roundedUp(v, f.Value, shown.si)
		if us && shown.us != shown.si {
			value += " (" + roundedUp(v, f.Value*shown.perUS, shown.us) + ")"
		}
		fmt.Fprintf(b, "  %-*s %s\n      %s: %s\n      %s\n", width+1, name(f.Name), value, f.Formula, f.PutIn, f.Basis)
	}
	b.WriteString("\n")
}

// roundedUp shows three figures, and whole numbers from 100 up. It always rounds up,
// because these are requirements.
func roundedUp(voice words.Voice, v float64, unit string) string {
	decimals := 0
	for decimals < 2 && v*math.Pow10(decimals) < 100 {
		decimals++
	}
	step := math.Pow10(-decimals)
	return voice.Figure(math.Ceil(v/step-1e-6)*step, decimals, unit)
}
