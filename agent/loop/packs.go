package loop

import (
	"encoding/json"
	"time"

	"bayward/agent/bay"
)

// LaidBy is the history of a pack that a bay no longer keeps, to be stored.
type LaidBy struct {
	Pack   string
	Memory []byte // JSON of bay.PackMemory
}

// laidBy picks what the memory of a bay has contained until now. Histories of a bay
// that is no longer configured go with the first one.
func (l *Loop) laidBy(b *runningBay, all []*bay.PackMemory) []LaidBy {
	var out []LaidBy
	for _, m := range all {
		if m.Bay != b.Name && (b != l.bays[0] || l.find(m.Bay) != nil) {
			continue
		}
		text, err := json.Marshal(m)
		if err != nil {
			l.o.Log.Error("cannot store the history of a pack", "pack", m.Pack, "err", err)
			continue
		}
		out = append(out, LaidBy{m.Pack, text})
	}
	return out
}

// seatPacks gives the bays the histories of the packs that they have recognised.
func (l *Loop) seatPacks(now time.Duration, changed bool) {
	given, err := l.o.Yard.Seat(l.cores, now)
	if err != nil {
		l.o.Log.Warn("history of a pack in doubt", "err", err)
	}
	if !given && !changed {
		return
	}
	for _, b := range l.bays {
		b.seen.Taken = l.o.Yard.Taken(b.Name)
	}
}
