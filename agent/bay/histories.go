package bay

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// Histories keeps the histories of the packs that are in no bay, and sees to it that
// none is open in two. Make it with NewHistories; it is for the one who steps the
// bays.
type Histories struct {
	packs    map[string]*storedHistory
	unstored []*PackMemory // found in the memory of a bay that has not taken it back
}

// storedHistory is a history with the time it was stored, or the bay in which it is
// open.
type storedHistory struct {
	memory *PackMemory
	at     time.Duration // of the memory, on the clock of the steps
	proven bool          // at is known for certain
	openIn string        // "" for no bay
}

// NewHistories makes one without packs.
func NewHistories() *Histories { return &Histories{packs: map[string]*storedHistory{}} }

// Add takes in a history that was stored at the given time, as far as that can be
// proven, unless there is a newer one of the pack or it is open in a bay.
func (h *Histories) Add(m *PackMemory, at time.Duration, proven bool) {
	s := h.packs[m.Pack]
	if s != nil && (s.openIn != "" || !m.Newer(s.memory)) {
		return
	}
	h.packs[m.Pack] = &storedHistory{memory: m, at: at, proven: proven}
}

// Restored takes in what a bay's memory holds of a pack after its Restore: the bay
// has taken it back, or it is kept until a bay knows the pack.
func (h *Histories) Restored(b *Bay, m *Memory, at time.Duration, proven bool) {
	part := m.PackPart(b.setup.Name)
	switch {
	case part == nil || b.identity.fixed && part.Pack == b.Opened():
	case b.Opened() == part.Pack:
		h.opened(part.Pack, b)
	default:
		h.Add(part, at, proven)
		stored := *part // with a stamp of this life, which says nothing of the gap before it
		stored.Left = true
		stored.Sum = stored.sum()
		h.unstored = append(h.unstored, &stored)
	}
}

func (h *Histories) opened(pack string, b *Bay) {
	h.packs[pack] = &storedHistory{openIn: b.setup.Name}
}

// Of is the history of a pack that is in no bay, nil for none.
func (h *Histories) Of(pack string) *PackMemory {
	if s := h.packs[pack]; s != nil {
		return s.memory
	}
	return nil
}

// OpenElsewhere lists the packs that other bays have, in order, for Readings.Taken.
// It is made again when a pack changes its bay, and must not be changed.
func (h *Histories) OpenElsewhere(bayName string) []string {
	var out []string
	for name, s := range h.packs {
		if s.openIn != "" && s.openIn != bayName {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

// Collect is called after each step of all bays: it takes over the histories that
// they have let go, and returns what is to be stored in one piece with the memory
// of the bay that it names. What Restored has kept is among it once, since that
// bay's memory will not hold it any more.
func (h *Histories) Collect(bays []*Bay, now time.Duration) []*PackMemory {
	out := h.unstored
	h.unstored = nil
	for _, b := range bays {
		if m := b.released; m != nil {
			b.released = nil
			h.packs[m.Pack] = &storedHistory{memory: m, at: now, proven: true}
			out = append(out, m)
		}
	}
	return out
}

// Open is called after Collect, and when the pictures of the step are not needed any
// more: it gives each bay the history that it waits for. A bay gets none that
// another one has; where a sensor shows that the pack has gone from there, that bay
// lets it go in its next step. It reports whether any was opened. An error wraps
// ErrMemory; the pack then begins again.
func (h *Histories) Open(bays []*Bay, now time.Duration) (opened bool, err error) {
	for _, b := range bays {
		pack := b.Wants()
		if pack == "" {
			continue
		}
		s := h.packs[pack]
		if s == nil {
			s = &storedHistory{}
		}
		if s.openIn != "" {
			dispute(bays, b, s.openIn)
			continue
		}
		if openErr := b.Open(s.memory, now, now-s.at, s.proven); openErr != nil {
			err = errors.Join(err, fmt.Errorf("pack %s in %s: %w", pack, b.setup.Name, openErr))
		}
		h.opened(pack, b)
		opened = true
	}
	return opened, err
}

// dispute lets two bays that both have the pack's sensor block until a person has
// looked.
func dispute(bays []*Bay, wants *Bay, holder string) {
	for _, b := range bays {
		if b.setup.Name == holder && wants.identity.wantBy == BySensor && b.identity.dispute(&b.pic.Seen.Pack) {
			wants.identity.want, wants.identity.clash = none, b.identity.clash
		}
	}
}
