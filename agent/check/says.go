package check

import (
	"fmt"
	"strings"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/terminal"
)

// paragraph wraps a list item; lines after the first are indented further.
func paragraph(text string) string { return terminal.Wrap("  ", "    ", text) + "\n" }

// asked reports whether a finding can be raised on a bay: a finding of a sensor
// that is not fitted cannot.
func asked(s *bay.Setup, row *interlock.Rule) bool {
	if row.Code == interlock.PackUnknown {
		return len(s.Packs) > 0
	}
	return row.Reads == reading.NoSensor || s.Has(row.Reads)
}

// blockedBy describes in sentences what blocks a charge.
func blockedBy(setups []bay.Setup) string {
	var b strings.Builder
	for i := range setups {
		s := &setups[i]
		fmt.Fprintf(&b, "\nAt %s a charge is blocked when\n", s.Name)
		for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
			if row := &interlock.Table[c]; row.Blocks && asked(s, row) {
				b.WriteString(paragraph(fmt.Sprintf("- %s: %s%s.", row.Name, row.RaiseWhen, by(row, &s.Limits))))
			}
		}
	}
	return b.String()
}

// by returns the limits that a finding uses, with their values.
func by(row *interlock.Rule, l *bay.Limits) string {
	var parts []string
	for _, key := range row.Limits {
		limit := bay.LimitNamed(key)
		parts = append(parts, fmt.Sprintf("%s: %g %s", key, limit.Of(l), limit.Unit))
	}
	if len(parts) == 0 {
		return ""
	}
	return " (" + strings.Join(parts, ", ") + ")"
}

// limitsText lists the limits in force, each with its source.
func limitsText(cfg *config.Config) string {
	var b strings.Builder
	b.WriteString("\nThe limits are\n")
	for _, l := range cfg.LimitsSet() {
		from := "the default"
		if l.Set {
			from = "from the file"
		}
		b.WriteString(paragraph(fmt.Sprintf("- %s: %g %s, %s (%s).", l.Key, l.Value, l.Unit, from, l.Basis)))
	}
	return b.String()
}

func warningsText(warnings []config.Warning) string {
	if len(warnings) == 0 {
		return "\nNothing in it is known to be unwise.\n"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "\nWarnings: %d. The file is accepted, and this is not wise:\n", len(warnings))
	for _, w := range warnings {
		b.WriteString(paragraph(fmt.Sprintf("- %s: %s. Better: %s. (%s)", w.Field, w.Says, w.Do, w.Basis)))
	}
	return b.String()
}
