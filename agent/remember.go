package main

import (
	"context"
	"encoding/json"

	"bayward/agent/bay"
)

// remember makes the cores and gives them what the logbook knows: each bay its
// memory, and the yard the histories of the packs that no bay has taken back.
func (a *agent) remember(ctx context.Context, setups []bay.Setup) ([]*bay.Bay, *bay.Yard) {
	cores, yard := make([]*bay.Bay, len(setups)), bay.NewYard()
	own := make([]bool, len(setups)) // its memory is of its one pack
	for i := range setups {
		s := &setups[i]
		cores[i] = bay.New(*s)
		own[i] = a.restore(ctx, s, cores[i], yard)
	}
	if a.book == nil {
		return cores, yard
	}
	for i := range a.cfg.Packs {
		a.keepPack(ctx, a.cfg.Packs[i].Name, yard)
	}
	for i := range setups {
		s := &setups[i]
		if m := yard.Kept(s.Pack.Name); m != nil && len(s.Packs) == 0 && !own[i] {
			a.log.Info("a pack's history has followed it", "pack", m.Pack, "from", m.Bay, "to", s.Name)
			if err := cores[i].Inherit(m, a.hw.Now()); err != nil {
				a.log.Warn("the history of a pack was doubted", "pack", m.Pack, "err", err)
			}
		}
	}
	return cores, yard
}

// restore gives a core its memory and tells whether that is of its only pack. What
// cannot be read is told by the core in its first tick.
func (a *agent) restore(ctx context.Context, s *bay.Setup, core *bay.Bay, yard *bay.Yard) (own bool) {
	if a.book == nil {
		core.Doubt("The logbook cannot be read: nothing of the time before is known.")
		return false
	}
	raw, stamp, ok, err := a.book.LoadMemory(ctx, s.Name)
	if err == nil && !ok {
		a.isNew(core)
		return false
	}
	var m bay.Memory
	if err == nil {
		err = json.Unmarshal(raw, &m)
	}
	if err != nil {
		a.log.Error("the memory cannot be read", "bay", s.Name, "err", err)
		core.Doubt("The memory cannot be read: nothing of the time before is known.")
		return false
	}
	gap, proven := a.gap(stamp)
	if err := core.Restore(&m, a.hw.Now(), gap, proven); err != nil {
		a.log.Warn("the memory was doubted", "bay", s.Name, "err", err)
	}
	yard.Restored(core, &m, a.hw.Now()-gap, proven)
	return m.Pack == s.Pack.Name
}

// isNew is for a bay without a memory. While a damaged logbook lies beside this
// one, the bay may be in that.
func (a *agent) isNew(core *bay.Bay) {
	switch kept, err := a.book.Damaged(); {
	case err != nil:
		a.log.Error("it cannot be told whether a logbook was damaged before", "err", err)
		core.Doubt("It cannot be told whether the logbook was damaged before: nothing of the time before is known.")
	case kept != "":
		core.Doubt("The logbook was damaged and is kept as " + kept + ": nothing of the time before is known.")
	}
}

// keepPack lays by what was stored of a pack when it left a bay. What cannot be
// read holds the bay in which it is recognised.
func (a *agent) keepPack(ctx context.Context, name string, yard *bay.Yard) {
	raw, _, stamp, ok, err := a.book.LoadPackMemory(ctx, name)
	if err == nil && !ok {
		return
	}
	m := bay.PackMemory{}
	if err == nil {
		err = json.Unmarshal(raw, &m)
	}
	if err != nil {
		a.log.Error("the history of a pack cannot be read", "pack", name, "err", err)
		m = bay.PackMemory{}
	}
	m.Pack = name
	gap, proven := a.gap(stamp)
	yard.Keep(&m, a.hw.Now()-gap, proven)
}
