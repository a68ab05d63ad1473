package restore

import (
	"context"
	"encoding/json"
	"fmt"

	"bayward/agent/bay"
	"bayward/agent/commission"
	"bayward/agent/logbook"
)

// walks is how many walks of a bay are searched for a proof. A site that walks every
// month has more than that in eight years.
const walks = 100

// Proofs adds to the setups what the walks on record have proven: when each watchdog
// relay was last seen open, and whether each airflow switch was seen off.
func Proofs(ctx context.Context, book *logbook.Reader, setups []bay.Setup) error {
	for i := range setups {
		if setups[i].Watchdog.Line == "" && setups[i].Fan.Line == "" {
			continue
		}
		if err := addProofs(ctx, book, &setups[i]); err != nil {
			return fmt.Errorf("find what the walks of %s have proven: %w", setups[i].Name, err)
		}
	}
	return nil
}

func addProofs(ctx context.Context, book *logbook.Reader, s *bay.Setup) error {
	bodies, err := book.Commissionings(ctx, s.Name, walks)
	if err != nil {
		return err
	}
	records := make([]commission.Record, len(bodies)) // the newest first
	for i, body := range bodies {
		if err := json.Unmarshal(body, &records[i]); err != nil {
			return err
		}
	}
	addWatchdog(records, &s.Watchdog)
	addFan(records, &s.Fan)
	return nil
}

func addWatchdog(records []commission.Record, w *bay.Watchdog) {
	for i := range records {
		at, by, ok := records[i].ProvedWatchdog(w.Line)
		if w.Line == "" || !ok {
			continue
		}
		w.Proven, w.By = true, by
		if at.Trusted {
			w.At = at.Wall
		}
		return
	}
}

// addFan takes the newest walk that tried: one that failed says that the switch cannot be
// believed any more.
func addFan(records []commission.Record, f *bay.Fan) {
	for i := range records {
		if passed, tried := records[i].TriedFan(f.Line); f.Line != "" && tried {
			f.SeenOff = passed
			return
		}
	}
}
