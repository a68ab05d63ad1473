package bay

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// Histories keeps the histories of the packs that are in no bay, and ensures that
// none is open in two. Create it with NewHistories. It belongs to whatever steps
// the bays.
type Histories struct {
	packs    map[string]*storedHistory
	unstored []*PackMemory // found in the memory of a bay that did not take it back
}

// storedHistory is a history with the time it was stored, or with the bay in
// which it is open.
type storedHistory struct {
	memory *PackMemory
	at     time.Duration // of the memory, on the clock of the steps
	proven bool          // at is known for certain
	openIn string        // "" for no bay
}

// NewHistories returns a Histories without packs.
func NewHistories() *Histories { return &Histories{packs: map[string]*storedHistory{}} }

// Add adds a history and the time it was stored, as far as that is proven. It
// ignores the history if there is a newer one of the pack or the pack's history
// is open in a bay.
func (h *Histories) Add(m *PackMemory, at time.Duration, proven bool) {
	s := h.packs[m.Pack]
	if s != nil && (s.openIn != "" || !m.Newer(s.memory)) {
		return
	}
	h.packs[m.Pack] = &storedHistory{memory: m, at: at, proven: proven}
}

// Restored takes the pack's part of a bay's memory after its Restore. Either the
// bay has taken it back, or it is kept until a bay knows the pack.
func (h *Histories) Restored(b *Bay, m *Memory, at time.Duration, proven bool) {
	part := m.PackPart(b.setup.Name)
	switch {
	case part == nil || b.identity.fixed && part.Pack == b.Opened():
	case b.Opened() == part.Pack:
		h.opened(part.Pack, b)
	default:
		h.Add(part, at, proven)
		stored := *part // with a stamp of this run, which does not include the gap before it
		stored.Left = true
		stored.Sum = stored.sum()
		h.unstored = append(h.unstored, &stored)
	}
}

func (h *Histories) opened(pack string, b *Bay) {
	h.packs[pack] = &storedHistory{openIn: b.setup.Name}
}

// Of returns the history of a pack that is in no bay, nil if there is none.
func (h *Histories) Of(pack string) *PackMemory {
	if s := h.packs[pack]; s != nil {
		return s.memory
	}
	return nil
}

// OpenElsewhere lists the packs that other bays have, in order, for
// Readings.Taken. The list is rebuilt when a pack changes its bay; callers must
// not change it.
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

// Collect is called after each step of all bays. It takes over the histories that
// they have closed and returns those to be stored in one transaction with the
// memory of the bay that each one names. What Restored has kept is included once,
// because that bay's memory will no longer hold it.
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

// Open is called after Collect, once the pictures of the step are no longer
// needed. It gives each bay the history it is waiting for. A bay gets none that
// is open in another; where a sensor shows that the pack has left that bay, the
// bay closes the history in its next step. Open reports whether it opened any. An
// error wraps ErrMemory; the pack then starts from scratch.
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

// dispute blocks two bays that both see the pack's sensor until a technician has
// looked.
func dispute(bays []*Bay, wants *Bay, holder string) {
	for _, b := range bays {
		if b.setup.Name == holder && wants.identity.wantBy == BySensor && b.identity.dispute(&b.pic.Seen.Pack) {
			wants.identity.want, wants.identity.clash = none, b.identity.clash
		}
	}
}
