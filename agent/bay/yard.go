package bay

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// Yard keeps the histories of the packs that stand in no bay, and sees to it that
// no history is open in two. Make it with NewYard; it is for the one who steps the
// bays.
type Yard struct {
	packs    map[string]*keptPack
	unstored []*PackMemory // found in the memory of a bay that has not taken it back
}

// keptPack is a history with the time it was laid by, or the bay that has it.
type keptPack struct {
	memory *PackMemory
	at     time.Duration // of the memory, on the clock of the steps
	proven bool          // at is known for certain
	holder string        // "" for none
}

// NewYard makes a yard without packs.
func NewYard() *Yard { return &Yard{packs: map[string]*keptPack{}} }

// Keep lays a history by that was saved at the given time, as far as that can be
// proven, unless the yard has a newer one of the pack or a bay has it.
func (y *Yard) Keep(m *PackMemory, at time.Duration, proven bool) {
	k := y.packs[m.Pack]
	if k != nil && (k.holder != "" || !m.Newer(k.memory)) {
		return
	}
	y.packs[m.Pack] = &keptPack{memory: m, at: at, proven: proven}
}

// Hold notes that a bay has a pack's history, which it has from its own memory.
func (y *Yard) Hold(pack, bayName string) { y.packs[pack] = &keptPack{holder: bayName} }

// Restored takes in what a bay's memory tells of a pack after its Restore: the bay
// has taken it back, or it is laid by until a bay knows it.
func (y *Yard) Restored(b *Bay, m *Memory, at time.Duration, proven bool) {
	part := m.PackPart(b.setup.Name)
	switch {
	case part == nil || !b.several() && part.Pack == b.setup.Pack.Name:
	case b.Seated() == part.Pack:
		y.Hold(part.Pack, b.setup.Name)
	default:
		y.Keep(part, at, proven)
		stored := *part // with a stamp of this life, which says nothing of the gap before it
		stored.Left = true
		stored.Sum = stored.sum()
		y.unstored = append(y.unstored, &stored)
	}
}

// Kept is the history of a pack that stands in no bay, nil for none.
func (y *Yard) Kept(pack string) *PackMemory {
	if k := y.packs[pack]; k != nil {
		return k.memory
	}
	return nil
}

// Taken lists the packs that other bays have, in order, for Readings. It is made
// anew when a pack changes its bay, and must not be changed.
func (y *Yard) Taken(bayName string) []string {
	var out []string
	for name, k := range y.packs {
		if k.holder != "" && k.holder != bayName {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

// LayBy is called after each step of all bays: it takes over the histories that
// they have let go, and returns what is to be stored in one piece with the memory
// of the bay that it names. What Restored has laid by is among it once, since that
// bay's memory will not hold it any more.
func (y *Yard) LayBy(bays []*Bay, now time.Duration) []*PackMemory {
	out := y.unstored
	y.unstored = nil
	for _, b := range bays {
		if m := b.released; m != nil {
			b.released = nil
			y.packs[m.Pack] = &keptPack{memory: m, at: now, proven: true}
			out = append(out, m)
		}
	}
	return out
}

// Seat is called after LayBy, and when the pictures of the step are not needed any
// more: it gives each bay the history that it waits for. A bay gets none that
// another one has; where a sensor shows that the pack has gone from there, that bay
// lets it go in its next step. It tells whether a pack has been given out. An error
// wraps ErrMemory; the pack then begins anew.
func (y *Yard) Seat(bays []*Bay, now time.Duration) (given bool, err error) {
	for _, b := range bays {
		pack := b.Wants()
		if pack == "" {
			continue
		}
		k := y.packs[pack]
		if k == nil {
			k = &keptPack{}
		}
		if k.holder != "" {
			y.contest(bays, b, k.holder)
			continue
		}
		if seatErr := b.Seat(k.memory, now, now-k.at, k.proven); seatErr != nil {
			err = errors.Join(err, fmt.Errorf("pack %s in %s: %w", pack, b.setup.Name, seatErr))
		}
		y.Hold(pack, b.setup.Name)
		given = true
	}
	return given, err
}

func (y *Yard) contest(bays []*Bay, wants *Bay, holder string) {
	for _, b := range bays {
		if b.setup.Name == holder && wants.who.wantBy == BySensor && b.contest() {
			wants.who.want, wants.who.clash = none, b.who.clash
		}
	}
}
