// Package restore gives cores their memory from the logbook.
package restore

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"time"

	"bayward/agent/bay"
	"bayward/agent/commission"
	"bayward/agent/logbook"
)

// Source is the source of memories.
type Source struct {
	Book    *logbook.Book // nil when it could not be opened: then every core is doubted
	Witness *Witness      // with a Book; nil only where nothing can be lost
	Gap     func(logbook.Stamp) (ago time.Duration, proven bool)
	Now     func() time.Duration // the clock of readings and ticks
	Log     *slog.Logger
	// Wired means that there is a battery: a new bay is held until its commissioning
	// walk is signed, or a person lets it go.
	Wired bool
	// Walk means that the cores are for a commissioning walk, which a bay that is only
	// new is not kept from.
	Walk bool
}

// Core creates one core and restores its memory.
func (s *Source) Core(ctx context.Context, setup *bay.Setup) *bay.Bay {
	core := bay.New(*setup)
	var r record
	if s.Book != nil {
		r = s.readRecord(ctx)
	}
	s.restore(ctx, &r, setup, core, bay.NewHistories())
	return core
}

// Cores creates the cores, each with its bay's memory, and returns the histories
// of the packs that are in no bay.
func (s *Source) Cores(ctx context.Context, setups []bay.Setup, packs []string) ([]*bay.Bay, *bay.Histories) {
	cores, histories := make([]*bay.Bay, len(setups)), bay.NewHistories()
	own := make([]bool, len(setups)) // its memory is about its one pack
	var r record
	if s.Book != nil {
		r = s.readRecord(ctx)
	}
	for i := range setups {
		cores[i] = bay.New(setups[i])
		own[i] = s.restore(ctx, &r, &setups[i], cores[i], histories)
	}
	if s.Book == nil {
		return cores, histories
	}
	if s.Witness != nil && r.err == nil {
		if err := s.Witness.pair(ctx, s.Book, &r.origin); err != nil {
			s.Log.Error("logbook and lockout file do not know each other yet", "err", err)
		}
		if s.another(&r) {
			if err := s.Book.RenewEpoch(ctx); err != nil {
				s.Log.Error("events may be published with numbers that other events had", "err", err)
			}
		}
	}
	for _, name := range packs {
		s.addPack(ctx, name, histories)
	}
	s.inherit(setups, cores, own, histories)
	return cores, histories
}

// inherit gives each bay the history of its only pack, where that has come from
// another bay.
func (s *Source) inherit(setups []bay.Setup, cores []*bay.Bay, own []bool, histories *bay.Histories) {
	for i := range setups {
		setup := &setups[i]
		if m := histories.Of(setup.Pack.Name); m != nil && len(setup.Packs) == 0 && !own[i] {
			s.Log.Info("a pack's history has followed it", "pack", m.Pack, "from", m.Bay, "to", setup.Name)
			if err := cores[i].Inherit(m, s.Now()); err != nil {
				s.Log.Warn("the history of a pack was doubted", "pack", m.Pack, "err", err)
			}
		}
	}
}

// restore gives a core its memory and reports whether the memory is about the
// bay's only pack. The core itself reports, in its first tick, what is doubted.
func (s *Source) restore(ctx context.Context, r *record, setup *bay.Setup, core *bay.Bay, histories *bay.Histories) (own bool) {
	if s.Book == nil {
		core.Doubt(bay.LogbookUnreadable, "")
		return false
	}
	stored, err := s.Book.LoadMemory(ctx, setup.Name)
	if err == nil && stored == nil {
		s.restoreNew(ctx, r, setup.Name, core)
		return false
	}
	var m bay.Memory
	if err == nil {
		err = json.Unmarshal(stored.State, &m)
	}
	if err != nil {
		s.Log.Error("the memory cannot be read", "bay", setup.Name, "err", err)
		core.Doubt(bay.MemoryUnreadable, "")
		s.Witness.expect(r, setup.Name, nil, true)
		return false
	}
	why := s.doubts(r, setup.Name, stored, &m)
	gap, proven := s.Gap(stored.Stamp)
	proven = proven && why == bay.NoDoubt
	if err := core.Restore(&m, s.Now(), gap, proven); err != nil {
		s.Log.Warn("the memory was doubted", "bay", setup.Name, "err", err)
	}
	if why != bay.NoDoubt {
		s.Log.Error("the record is doubted: the bay is held", "bay", setup.Name, "why", why.String())
		core.Doubt(why, "")
	} else if m.New && s.commissioned(ctx, setup.Name) {
		core.Commissioned()
	}
	s.Witness.expect(r, setup.Name, &m, why != bay.NoDoubt)
	histories.Restored(core, &m, s.Now()-gap, proven)
	return m.Pack == setup.Pack.Name
}

// restoreNew is for a bay without a memory: it is new, or its memory is lost.
func (s *Source) restoreNew(ctx context.Context, r *record, name string, core *bay.Bay) {
	why, file := s.doubtsNew(r, name)
	switch {
	case why != bay.NoDoubt:
		s.Log.Error("the record is doubted: the bay is held", "bay", name, "why", why.String())
		core.Doubt(why, file)
		s.Witness.expect(r, name, nil, true)
	case s.Wired && !s.commissioned(ctx, name):
		s.Log.Info("the bay is new and held until its commissioning walk is signed or a person lets it go", "bay", name)
		core.Doubt(bay.BayNew, "")
	}
}

// commissioned reports whether a bay is in its walk, or has passed it: the newest
// one is signed, and was not played with simulated sensors.
func (s *Source) commissioned(ctx context.Context, name string) bool {
	if s.Walk {
		return true
	}
	body, ok, err := s.Book.LastCommissioning(ctx, name)
	if err != nil || !ok {
		return false
	}
	var walk commission.Record
	if err := json.Unmarshal(body, &walk); err != nil {
		s.Log.Error("the commissioning record cannot be read", "bay", name, "err", err)
		return false
	}
	return walk.Bay == name && !walk.Simulated && walk.Result() == commission.Passed
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
		if err == nil && !stored.Whole {
			err = errors.New("its checksum does not match")
		}
	}
	if err != nil {
		s.Log.Error("the history of a pack cannot be read", "pack", name, "err", err)
		m = bay.PackMemory{}
	}
	m.Pack = name
	histories.Add(&m, s.Now()-gap, proven)
}
