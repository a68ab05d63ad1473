// Package restore gives cores their memory from the logbook.
package restore

import (
	"context"
	"encoding/json"
	"log/slog"
	"time"

	"bayward/agent/bay"
	"bayward/agent/logbook"
)

// Source is the source of memories.
type Source struct {
	Book *logbook.Book // nil when it could not be opened: then every core is doubted
	Gap  func(logbook.Stamp) (ago time.Duration, proven bool)
	Now  func() time.Duration // the clock of readings and ticks
	Log  *slog.Logger
}

// Core creates one core and restores its memory.
func (s *Source) Core(ctx context.Context, setup *bay.Setup) *bay.Bay {
	core := bay.New(*setup)
	s.restore(ctx, setup, core, bay.NewHistories())
	return core
}

// Cores creates the cores, each with its bay's memory, and returns the histories
// of the packs that are in no bay.
func (s *Source) Cores(ctx context.Context, setups []bay.Setup, packs []string) ([]*bay.Bay, *bay.Histories) {
	cores, histories := make([]*bay.Bay, len(setups)), bay.NewHistories()
	own := make([]bool, len(setups)) // its memory is about its one pack
	for i := range setups {
		cores[i] = bay.New(setups[i])
		own[i] = s.restore(ctx, &setups[i], cores[i], histories)
	}
	if s.Book == nil {
		return cores, histories
	}
	for _, name := range packs {
		s.addPack(ctx, name, histories)
	}
	for i := range setups {
		setup := &setups[i]
		if m := histories.Of(setup.Pack.Name); m != nil && len(setup.Packs) == 0 && !own[i] {
			s.Log.Info("a pack's history has followed it", "pack", m.Pack, "from", m.Bay, "to", setup.Name)
			if err := cores[i].Inherit(m, s.Now()); err != nil {
				s.Log.Warn("the history of a pack was doubted", "pack", m.Pack, "err", err)
			}
		}
	}
	return cores, histories
}

// restore gives a core its memory and reports whether the memory is about the
// bay's only pack. The core itself reports, in its first tick, what could not be
// read.
func (s *Source) restore(ctx context.Context, setup *bay.Setup, core *bay.Bay, histories *bay.Histories) (own bool) {
	if s.Book == nil {
		core.Doubt(bay.LogbookUnreadable, "")
		return false
	}
	stored, err := s.Book.LoadMemory(ctx, setup.Name)
	if err == nil && stored == nil {
		s.checkNew(core)
		return false
	}
	var m bay.Memory
	if err == nil {
		err = json.Unmarshal(stored.State, &m)
	}
	if err != nil {
		s.Log.Error("the memory cannot be read", "bay", setup.Name, "err", err)
		core.Doubt(bay.MemoryUnreadable, "")
		return false
	}
	gap, proven := s.Gap(stored.Stamp)
	if err := core.Restore(&m, s.Now(), gap, proven); err != nil {
		s.Log.Warn("the memory was doubted", "bay", setup.Name, "err", err)
	}
	histories.Restored(core, &m, s.Now()-gap, proven)
	return m.Pack == setup.Pack.Name
}

// checkNew is for a bay without a memory. The memory may be in a damaged logbook,
// if there is one beside this one.
func (s *Source) checkNew(core *bay.Bay) {
	switch kept, err := s.Book.Damaged(); {
	case err != nil:
		s.Log.Error("cannot find out whether a logbook was damaged before", "err", err)
		core.Doubt(bay.LogbookUncertain, "")
	case kept != "":
		core.Doubt(bay.LogbookDamaged, kept)
	}
}

// addPack adds the history stored when a pack left its bay. If it cannot be read,
// the bay that recognises the pack is held.
func (s *Source) addPack(ctx context.Context, name string, histories *bay.Histories) {
	stored, err := s.Book.LoadPackMemory(ctx, name)
	if err == nil && stored == nil {
		return
	}
	var m bay.PackMemory
	var gap time.Duration
	var proven bool
	if err == nil {
		gap, proven = s.Gap(stored.Stamp)
		err = json.Unmarshal(stored.State, &m)
	}
	if err != nil {
		s.Log.Error("the history of a pack cannot be read", "pack", name, "err", err)
		m = bay.PackMemory{}
	}
	m.Pack = name
	histories.Add(&m, s.Now()-gap, proven)
}
