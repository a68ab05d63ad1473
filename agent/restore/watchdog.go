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

// Watchdogs adds to the setups when a walk last saw each watchdog relay open.
func Watchdogs(ctx context.Context, book *logbook.Reader, setups []bay.Setup) error {
	for i := range setups {
		if setups[i].Watchdog.Line == "" {
			continue
		}
		if err := addProof(ctx, book, &setups[i]); err != nil {
			return fmt.Errorf("find the proof of the watchdog relay of %s: %w", setups[i].Name, err)
		}
	}
	return nil
}

func addProof(ctx context.Context, book *logbook.Reader, s *bay.Setup) error {
	bodies, err := book.Commissionings(ctx, s.Name, walks)
	if err != nil {
		return err
	}
	w := &s.Watchdog
	for _, body := range bodies {
		var r commission.Record
		if err := json.Unmarshal(body, &r); err != nil {
			return err
		}
		at, by, ok := r.ProvedWatchdog(w.Line)
		if !ok {
			continue
		}
		w.Proven, w.By = true, by
		if at.Trusted {
			w.At = at.Wall
		}
		return nil
	}
	return nil
}
