package loop

import (
	"encoding/json"
	"time"

	"bayward/agent/bay"
)

// PackHistory is the history of a pack that a bay no longer keeps, to be stored.
type PackHistory struct {
	Pack   string
	Memory []byte // JSON of bay.PackMemory
}

// released picks what the memory of a bay has contained until now. Histories of a bay
// that is no longer configured go with the first one.
func (l *Loop) released(b *runningBay, all []*bay.PackMemory) []PackHistory {
	var out []PackHistory
	for _, m := range all {
		if m.Bay != b.Name && (b != l.bays[0] || l.find(m.Bay) != nil) {
			continue
		}
		text, err := json.Marshal(m)
		if err != nil {
			l.o.Log.Error("cannot store the history of a pack", "pack", m.Pack, "err", err)
			continue
		}
		out = append(out, PackHistory{m.Pack, text})
	}
	return out
}

// openHistories gives the bays the histories of the packs that they have recognised.
func (l *Loop) openHistories(now time.Duration, changed bool) {
	opened, err := l.o.Histories.Open(l.cores, now)
	if err != nil {
		l.o.Log.Warn("history of a pack in doubt", "err", err)
	}
	if !opened && !changed {
		return
	}
	for _, b := range l.bays {
		b.seen.Taken = l.o.Histories.OpenElsewhere(b.Name)
	}
}
