package bay

import (
	"fmt"
	"time"

	"bayward/agent/charge"
	"bayward/agent/interlock"
	"bayward/agent/water"
)

// SavedWithin is how often a memory must be stored, besides after each tick with
// events: what a charge did after that, a restart counts as if it had gone on.
const SavedWithin = charge.SavedWithin

// Memory returns what must survive a restart, as of the last step.
func (b *Bay) Memory() Memory {
	m := Memory{
		MemoryHead: MemoryHead{V: memoryVersion}, Held: len(b.asked.holds) > 0, Forgot: b.asked.forgot,
		New:   b.asked.isNew,
		Visit: storedVisit(&b.pic.Visit, &b.asked.visit, b.pic.Now, b.history.pack.Cells), Latches: latched(b.lock), OrderIDs: b.asked.ids.list(),
		PermitS: b.pic.PermitS, BlockedS: b.pic.BlockedS, Readied: b.pic.Readied, Opened: b.history.opened,
		Holds: storedLocks(b.asked.holds, b.pic.Now), LeaveS: b.asked.leave.left(b.pic.Now).Seconds(),
		Raised: raised(b.lock, false), BadS: badTimes(b.lock), UnseenS: b.conn.unseenFor(b.pic.Now).Seconds(),
		BayAlive: b.alive.OfBay(), Meter: b.meter.Memory(),
	}
	if b.identity.open != none {
		m.Pack, m.Cells, m.History = b.history.pack.Name, b.history.pack.Cells, b.history.memory()
		m.Charge.MayFlow = b.pic.Permit.Granted
		m.Alive = b.alive.OfPack()
	}
	if !b.identity.fixed {
		t := b.counts.sum(b.history.totals())
		m.By, m.Totals, m.PackLatches = b.identity.by.String(), &t, b.history.latchNames()
		m.SilentS, m.Clash = b.identity.silentFor(b.pic.Now).Seconds(), b.identity.clashName()
	}
	m.Sum = m.sum()
	return m
}

func (h *history) memory() History {
	m := History{Charge: h.charge.Memory(), Water: h.water.Memory(), CellCount: h.cells.Memory()}
	if cool, ok := h.cool.Memory(); ok {
		m.Cool = &cool
	}
	return m
}

func (h *history) latchNames() (names []string) {
	for c := range h.latched {
		if h.latched[c] {
			names = append(names, interlock.Code(c).String())
		}
	}
	return names
}

// packMemory returns the history of the pack in place, as of the last step.
func (b *Bay) packMemory(left bool) *PackMemory {
	p := b.history.pack
	m := &PackMemory{
		MemoryHead: MemoryHead{V: memoryVersion, Pack: p.Name, Cells: p.Cells}, Bay: b.setup.Name, Opened: b.history.opened,
		Left: left, Latches: latched(b.lock).only(b.history.latchNames()), History: b.history.memory(), Readied: b.pic.Readied,
	}
	m.Alive = b.alive.OfPack()
	m.Sum = m.sum()
	return m
}

// Restore restores a memory before the first Step, which will be at now. The gap
// is the time since the memory was saved, as far as it can be proven (same boot,
// by its monotonic clock); unproven means that the machine was off for an unknown
// time. Latches, a hold and an open visit are always restored. What a gap could
// have changed is not. The error, if any, wraps ErrMemory; the core remains
// usable and reports itself that the memory was doubted.
func (b *Bay) Restore(m *Memory, now, gap time.Duration, proven bool) error {
	if b.started {
		return fmt.Errorf("%w: the core has already stepped", ErrMemory)
	}
	gap, proven = believed(gap, proven)
	now = clamped(now)
	b.pic.Now = now
	b.restoreAsked(m, now, gap)
	if proven {
		b.conn.restore(now, gap+agoOf(m.UnseenS))
	}
	var only *Pack
	if b.identity.fixed {
		only = b.history.pack
	}
	if err := m.usable(only); err != nil {
		b.doubted = doubtOf(err)
		return err
	}
	b.pic.PermitS, b.pic.BlockedS = m.PermitS, m.BlockedS
	b.alive.Restore(m.BayAlive, now, gap, proven)
	b.meter.Restore(m.Meter, now, gap, proven)
	if only == nil {
		return b.resume(m, now, gap, proven)
	}
	b.history.restore(&m.History, now, gap, proven)
	b.pic.Readied, b.history.opened = m.Readied, m.Opened
	// In a longer gap the machine may have been used, or the pack exchanged.
	if (!proven || gap > doubtAfter) && (m.Charge.Full || m.Charge.Active) {
		b.doubted = OffTooLong
	}
	return nil
}

// Doubt is for a record that is not known to be whole and the newest; call it
// before the first Step, after Restore where there is a memory. The first step
// reports why, and which file is kept of a damaged logbook. A visit may have been
// open, or a hold or a latch in force, so the bay is held until a technician removes
// the hold. For BayNew see also Commissioned.
func (b *Bay) Doubt(why Doubt, file string) {
	b.doubted, b.keptFile = why, file
	if why == BayNew {
		b.holdNew(b.pic.Now)
		return
	}
	b.forget(b.pic.Now)
}

// Commissioned lets a bay go that is held only because it is new: its signed walk
// is on record. Call it before the first Step.
func (b *Bay) Commissioned() {
	if b.asked.isNew && len(b.asked.holds) == 1 {
		b.removeHold("", b.pic.Now)
	}
}

// believed returns a plausible gap; any other may have been of any length.
func believed(gap time.Duration, proven bool) (time.Duration, bool) {
	if gap < 0 || gap > maxAge {
		return 0, false
	}
	return gap, proven
}

// usable checks the bay's part, and the pack's part if the bay serves only that
// pack.
func (m *Memory) usable(only *Pack) error {
	if err := m.known(); err != nil {
		return err
	}
	if only != nil {
		if err := m.of(only); err != nil {
			return err
		}
	}
	if !m.intact() || !(m.PermitS >= 0 && m.BlockedS >= 0) || m.Totals != nil && !(m.Totals.InAh >= 0 && m.Totals.GassingAh >= 0) ||
		!m.BayAlive.Valid() || !m.Meter.Valid() || only != nil && !m.valid(only.Cells) {
		return damaged("it is damaged")
	}
	return nil
}

// restoreAsked restores what users ordered and what latched. This is done even
// with a memory that is otherwise unusable, because it can only block.
func (b *Bay) restoreAsked(m *Memory, now, gap time.Duration) {
	b.restoreLocks(m, now, gap)
	b.bad = m.BadS
	for _, id := range m.OrderIDs {
		b.asked.ids.add(id)
	}
	if m.Visit != nil {
		b.pic.Visit, b.asked.visit = m.Visit.restored(now - gap)
	}
	if !m.intact() { // that a visit is open counts, its figures do not
		b.pic.Visit.GivenML, b.asked.visit.known = [water.MaxCells]float64{}, false
	}
	if !m.intact() || m.V != memoryVersion || m.Latches.unknown() {
		b.forget(now) // it may contain what this program does not know
	}
	b.lock = m.Raised.raise(m.Latches.raise(b.lock, now), now)
}

// restoreLocks restores the holds. What was left of the delay after the last lock
// starts again: the machine was off, so it proves nothing about who stepped back.
func (b *Bay) restoreLocks(m *Memory, now, gap time.Duration) {
	b.asked.holds = restoredLocks(m.Holds, now-gap)
	if m.Held && len(b.asked.holds) == 0 { // stored before holds had names
		b.asked.holds = Locks{{Since: now - gap}}
	}
	switch {
	case m.Held && m.Forgot:
		b.forget(now)
	case m.Held && m.New:
		b.holdNew(now)
	}
	if m.LeaveS != 0 {
		b.asked.leave = leave{now + b.setup.Limits.CloseDelay, true}
	}
}
