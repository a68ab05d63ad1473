package words

import (
	"time"

	"bayward/agent/bay"
)

// proofMax is the age after which a watchdog relay should be proven again (common
// practice for safety circuits that nothing tests, no source).
const proofMax = 365 * 24 * time.Hour

// Watchdog describes the watchdog relay and the age of its last proof. A clock that is
// not set yet gives no age.
func (v Voice) Watchdog(w bay.Watchdog, now time.Time) string {
	date, age := w.At.UTC().Format(time.DateOnly), now.Sub(w.At)
	switch {
	case w.Line == "":
		return v.Say("watchdog.none", w.WhyNot)
	case !w.Proven:
		return v.Say("watchdog.unproven")
	case w.At.IsZero():
		return v.Say("watchdog.undated", w.By)
	case age < 0:
		return v.Say("watchdog.proven", date, w.By)
	case age > proofMax:
		return v.Say("watchdog.old", date, w.By, v.Span(age))
	}
	return v.Say("watchdog.aged", date, w.By, v.Span(age))
}
