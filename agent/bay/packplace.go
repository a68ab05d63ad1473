package bay

import (
	"fmt"
	"time"

	"bayward/agent/interlock"
)

// place replaces the pack in place: nothing is known of the new one yet.
func (b *Bay) place(p *Pack) {
	b.history = newHistory(p, &b.setup)
	b.alive.Pack(aliveConfig(&b.setup, p))
	b.meter.Pack(p.CapacityAh)
	h := &b.history
	b.pic.Pack, b.pic.Naming, b.pic.Readied = p, b.identity.by, 0
	b.pic.Charge, b.pic.Cool, b.pic.Water = *h.charge.Status(), *h.cool.Status(), *h.water.Status()
	if b.started {
		b.lock.Limits = lockLimits(&b.setup, p)
	}
}

// letGo closes a pack's history one tick after the pack was found gone, because
// the events of that tick were still about it. An open visit keeps it: the water
// of the visit belongs to this pack, wherever the pack is.
func (b *Bay) letGo(now time.Duration) {
	b.history.charge.PackGone(now)
	b.pic.Charge = *b.history.charge.Status()
	b.released = b.packMemory(true)
	b.between = append(b.between, Event{Kind: PackLeft, Pack: b.released.Pack})
	b.counts = counts{before: b.counts.sum(b.history.totals())}
	b.identity.letGo()
	b.place(b.nobody)
}

// Wants returns the pack whose history the bay is waiting for, "" for none. That
// pack is known to be plugged in.
func (b *Bay) Wants() string {
	if b.identity.open != none {
		return ""
	}
	return b.identity.name(b.identity.want)
}

// Opened returns the pack whose history is open here, "" for none.
func (b *Bay) Opened() string { return b.identity.name(b.identity.open) }

// Serves reports whether a pack may be plugged in here.
func (b *Bay) Serves(pack string) bool { return b.identity.find(pack) != none }

// Open gives the bay the history of the pack that it Wants, between two steps;
// nil means a new pack. The gap is the time since the history was saved, as for
// Restore. Where the gap allows it, the bay continues what the pack did before in
// this very bay, and only that: a pack that was moved may have been used. For a
// history that cannot be used, Open returns an error that wraps ErrMemory. The
// pack then starts from scratch, and the next step reports why.
func (b *Bay) Open(m *PackMemory, now, gap time.Duration, proven bool) error {
	if b.Wants() == "" {
		return fmt.Errorf("%w: bay %s waits for no pack", ErrMemory, b.setup.Name)
	}
	b.identity.opened(now)
	b.place(&b.identity.packs[b.identity.open])
	b.conn.checkAgain(now) // its readings must be proven to be its own
	err := b.restorePack(m, clamped(now), gap, proven)
	b.counts.atOpened = b.history.totals()
	b.between = append(b.between, Event{Kind: PackNamed, Pack: b.history.pack.Name, Naming: b.identity.by})
	if err != nil {
		b.between = append(b.between, Event{Kind: MemoryDoubted, Doubt: doubtOf(err), Pack: b.history.pack.Name})
	}
	return err
}

// Inherit gives a bay for one pack that pack's history from elsewhere, before the
// first step: the configuration has assigned it a pack that was in another bay.
func (b *Bay) Inherit(m *PackMemory, now time.Duration) error {
	if b.started || !b.identity.fixed {
		return fmt.Errorf("%w: bay %s inherits no history", ErrMemory, b.setup.Name)
	}
	if err := b.restorePack(m, clamped(now), 0, false); err != nil {
		b.doubted = doubtOf(err)
		return err
	}
	return nil
}

// resume restores the pack of a bay for several. It does so only if a technician
// named the pack and the gap is proven to be short, or if an open visit keeps it.
// Otherwise a sensor must recognise the pack again, which opens its history from
// the memory's PackPart.
func (b *Bay) resume(m *Memory, now, gap time.Duration, proven bool) error {
	if m.Totals != nil {
		b.counts.before = *m.Totals
	}
	b.identity.restoreClash(m.Clash)
	part, pack := m.PackPart(b.setup.Name), b.identity.find(m.Pack)
	counts := m.By == ByPerson.String() && proven && gap <= doubtAfter
	if part == nil || pack == none || !counts && m.Visit == nil || part.Cells != b.identity.packs[pack].Cells {
		return nil
	}
	by := BySensor
	if m.By == ByPerson.String() {
		by = ByPerson
	}
	b.identity.resume(now-gap-agoOf(m.SilentS), pack, by, counts)
	b.place(&b.identity.packs[pack])
	if err := b.restorePack(part, now, gap, proven); err != nil {
		return err
	}
	b.history.opened = m.Opened // it is still open, not again
	b.counts.atOpened = b.history.totals()
	return nil
}

// restorePack gives the pack in place its history. Without a usable one the bay
// is held until a technician has looked: it may have contained a latch.
func (b *Bay) restorePack(m *PackMemory, now, gap time.Duration, proven bool) error {
	b.history.opened = 1
	if m == nil {
		return nil
	}
	b.history.opened = m.Opened + 1
	if err := m.usable(b.history.pack); err != nil {
		b.forget(now)
		return err
	}
	gap, proven = believed(gap, proven)
	past := m.History
	past.Charge.Moved = m.Left || m.Bay != b.setup.Name
	b.history.restore(&past, now, gap, proven)
	b.alive.Restore(m.Alive, now, gap, proven)
	b.pic.Charge, b.pic.Readied = *b.history.charge.Status(), m.Readied
	for name := range m.Latches {
		b.history.latched[interlock.Lookup(name)] = true
	}
	b.lock = m.Latches.raise(b.lock, now)
	return nil
}

func (m *PackMemory) usable(p *Pack) error {
	damaged := damaged("the history of pack " + p.Name + " is damaged")
	if err := m.known(); err != nil {
		return fmt.Errorf("the history of pack %s: %w", p.Name, err)
	}
	if !m.intact() {
		return damaged
	}
	if err := m.of(p); err != nil {
		return err
	}
	if !m.valid(p.Cells) || m.Latches.unknown() {
		return damaged
	}
	return nil
}

// restore continues where the gap allows it; see each rule's own restore.
func (h *history) restore(m *History, now, gap time.Duration, proven bool) {
	h.charge.Restore(&m.Charge, now, gap, proven)
	h.water.Restore(&m.Water, now, gap)
	h.cool.Restore(m.Cool)
	h.cells.Restore(m.CellCount)
}
