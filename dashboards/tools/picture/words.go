package main

import (
	"encoding/json"
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
)

// worded returns a value with its unit, or the word for it.
func worded(v float64, unit string, decimals *int, mappings []mapping) (text, colour string) {
	for _, m := range mappings {
		if w, ok := m.Options[strconv.FormatFloat(v, 'f', -1, 64)]; ok {
			return w.Text, shade(w.Color)
		}
	}
	if unit == "s" {
		return lasting(v), ""
	}
	digits := 2
	if decimals != nil {
		digits = *decimals
	} else if v == math.Trunc(v) {
		digits = 0
	}
	for _, big := range []struct {
		from   float64
		prefix string
	}{{1e9, "G"}, {1e6, "M"}, {1e3, "k"}} {
		if (unit == "bytes" || unit == "decbytes") && math.Abs(v) >= big.from {
			return fmt.Sprintf("%.1f %sB", v/big.from, big.prefix), ""
		}
	}
	if a := math.Abs(v); unit == "percentunit" && a > 0 && a < 0.1 {
		return fmt.Sprintf("%.1f %%", v*100), ""
	}
	if unit == "percentunit" {
		return fmt.Sprintf("%.0f %%", v*100), ""
	}
	if sign, ok := strings.CutPrefix(unit, "suffix:"); ok {
		return strconv.FormatFloat(v, 'f', digits, 64) + sign, ""
	}
	signs := map[string]string{"celsius": " °C", "bytes": " B", "decbytes": " B"}
	return strconv.FormatFloat(v, 'f', digits, 64) + signs[unit], ""
}

// absent gives the words and the colour of a panel without data.
func absent(p panel) (text, colour string) {
	for _, m := range p.FieldConfig.Defaults.Mappings {
		if m.None != nil {
			return m.None.Text, shade(m.None.Color)
		}
	}
	return p.FieldConfig.Defaults.NoValue, "#8e8e8e"
}

func lasting(s float64) string {
	switch a := math.Abs(s); {
	case a >= 86400:
		return fmt.Sprintf("%.1f days", s/86400)
	case a >= 3600:
		return fmt.Sprintf("%.1f hours", s/3600)
	case a >= 60:
		return fmt.Sprintf("%.0f min", s/60)
	case a >= 1 || a == 0:
		return fmt.Sprintf("%.0f s", s)
	case a >= 1e-3:
		return fmt.Sprintf("%.1f ms", s*1e3)
	default:
		return fmt.Sprintf("%.0f µs", s*1e6)
	}
}

// shade turns the names of Grafana's palette into colours; a colour stays as it is.
func shade(name string) string {
	palette := map[string]string{
		"text": "#d8d9da", "green": "#73bf69", "red": "#f2495c", "dark-red": "#c4162a", "orange": "#ff9830", "blue": "#5794f2",
		"light-blue": "#8ab8ff", "dark-yellow": "#e0b400", "purple": "#b877d9", "super-light-yellow": "#ffee52",
	}
	if colour, ok := palette[name]; ok {
		return colour
	}
	return name
}

// lineColour returns the colour of the i-th series of a panel.
func lineColour(i int) string {
	colours := []string{"#73bf69", "#f2cc0c", "#8ab8ff", "#ff780a", "#f2495c", "#5794f2", "#b877d9", "#fade2a", "#96d98d", "#ca95e5"}
	return colours[i%len(colours)]
}

func escaped(text string) string { return html.EscapeString(text) }

// short cuts a text to a width, at about 6 pixels a letter.
func short(text string, width float64) string {
	letters := []rune(text)
	if most := int(width / 6); len(letters) > most && most > 1 {
		return string(letters[:most-1]) + "…"
	}
	return text
}

// words reads value mappings from an override, whose values may be of any kind.
func words(value []any) []mapping {
	text, err := json.Marshal(value)
	if err != nil {
		return nil
	}
	var mappings []mapping
	if json.Unmarshal(text, &mappings) != nil {
		return nil // links and the like
	}
	return mappings
}
