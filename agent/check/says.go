package check

import (
	"strings"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/terminal"
	"bayward/agent/words"
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
func blockedBy(v words.Voice, setups []bay.Setup) string {
	var b strings.Builder
	for i := range setups {
		s := &setups[i]
		b.WriteString("\n" + v.Say("check.blocked", s.Name) + "\n")
		for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
			if row := &interlock.Table[c]; row.Blocks && asked(s, row) {
				b.WriteString(paragraph(blocks(v, row, &s.Limits)))
			}
		}
	}
	return b.String()
}

// blocks describes a finding's condition, with the limits that it uses.
func blocks(v words.Voice, row *interlock.Rule, l *bay.Limits) string {
	var parts []string
	for _, key := range row.Limits {
		limit := bay.LimitNamed(key)
		parts = append(parts, v.Say("check.limit", key, limit.Of(l), v.Unit(limit.Unit)))
	}
	if len(parts) == 0 {
		return v.Say("check.blocked.when", row.Name, v.When(row.Code))
	}
	return v.Say("check.blocked.by", row.Name, v.When(row.Code), strings.Join(parts, ", "))
}

// limitsText lists the limits in force, each with its source.
func limitsText(v words.Voice, cfg *config.Config) string {
	var b strings.Builder
	b.WriteString("\n" + v.Say("check.the-limits") + "\n")
	for _, l := range cfg.LimitsSet() {
		key := "check.limit.default"
		if l.Set {
			key = "check.limit.set"
		}
		b.WriteString(paragraph(v.Say(key, l.Key, l.Value, v.Unit(l.Unit), l.Basis)))
	}
	return b.String()
}

func warningsText(v words.Voice, warnings []config.Warning) string {
	if len(warnings) == 0 {
		return "\n" + v.Say("check.wise") + "\n"
	}
	var b strings.Builder
	b.WriteString("\n" + v.Say("check.warnings", float64(len(warnings))) + "\n")
	for _, w := range warnings {
		b.WriteString(paragraph(v.Say("check.warning", w.Field, w.Says, w.Do, w.Basis)))
	}
	return b.String()
}
