package words_test

import (
	"strings"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/words"
)

// TestWatchdog: the age of a proof is given where both clocks were set, and an old
// proof asks for another one.
func TestWatchdog(t *testing.T) {
	now := time.Date(2026, 3, 31, 12, 0, 0, 0, time.UTC)
	proven := func(ago time.Duration) bay.Watchdog {
		return bay.Watchdog{Line: "GPIO27", Proven: true, At: now.Add(-ago), By: "A. Person"}
	}
	const day = 24 * time.Hour
	for name, row := range map[string]struct {
		is   bay.Watchdog
		want string
	}{
		"none":               {bay.Watchdog{WhyNot: "on order"}, "none (on order): if the Pi hangs, nothing outside it opens the relay"},
		"not proven":         {bay.Watchdog{Line: "GPIO27"}, "not proven; the commissioning walk does that"},
		"proven":             {proven(30 * day), "proven on 2026-03-01 by A. Person, 30 days ago"},
		"a year ago":         {proven(365 * day), "proven on 2025-03-31 by A. Person, 365 days ago"},
		"too long ago":       {proven(366 * day), "proven on 2025-03-30 by A. Person, 366 days ago; prove it again with the commissioning walk"},
		"no clock in 1970":   {proven(-30 * day), "proven on 2026-04-30 by A. Person"},
		"no clock then":      {bay.Watchdog{Line: "GPIO27", Proven: true, By: "A. Person"}, "proven by A. Person; the clock was not set"},
		"a reason of a user": {bay.Watchdog{WhyNot: "100 %d"}, "none (100 %d): if the Pi hangs, nothing outside it opens the relay"},
	} {
		if got := words.EnglishSI().Watchdog(row.is, now); got != row.want {
			t.Errorf("%s: %q, want %q", name, got, row.want)
		}
		for _, language := range words.Languages() {
			if got := words.New(language, "").Watchdog(row.is, now); strings.Contains(got, "⟦") || strings.Contains(got, "%!") {
				t.Errorf("%s in %s: %q", name, language, got)
			}
		}
	}
}
