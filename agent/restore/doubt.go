package restore

import (
	"context"
	"errors"
	"io/fs"

	"bayward/agent/bay"
	"bayward/agent/lockout"
	"bayward/agent/logbook"
)

// record is what the logbook has about itself.
type record struct {
	origin logbook.Origin
	newest map[string]uint64 // number of each bay's newest event
	err    error
}

func (s *Source) readRecord(ctx context.Context) (r record) {
	if r.origin, r.err = s.Book.Origin(ctx); r.err != nil {
		return r
	}
	r.newest, r.err = s.Book.Newest(ctx)
	return r
}

// doubts returns why a memory is not known to be the newest one, NoDoubt when it is.
func (s *Source) doubts(r *record, name string, stored *logbook.Stored, m *bay.Memory) bay.Doubt {
	switch {
	case r.err != nil:
		return bay.LogbookUncertain
	case !stored.Whole:
		return bay.MemoryDamaged
	case stored.Copied:
		return bay.LogbookCopied
	}
	if d := s.doubtsWitness(&r.origin); d != bay.NoDoubt {
		return d
	}
	b, known := s.Witness.knows(name)
	switch {
	case !known && !s.Witness.first(&r.origin):
		return bay.LockoutMissing
	case r.newest[name] < b.Newest:
		return bay.LogbookOlder
	case stored.Newest != r.newest[name]:
		return bay.MemoryOlder
	case b.Doubted, !shows(m, &b):
		return bay.LockedOut
	}
	return bay.NoDoubt
}

// doubtsNew returns why a bay without a memory is not known to be new, NoDoubt when
// it is.
func (s *Source) doubtsNew(r *record, name string) (why bay.Doubt, file string) {
	kept, err := s.Book.Damaged()
	_, known := s.Witness.knows(name)
	switch {
	case err != nil:
		s.Log.Error("cannot find out whether a logbook was damaged before", "err", err)
		return bay.LogbookUncertain, ""
	case r.err != nil:
		return bay.LogbookUncertain, ""
	case kept != "":
		return bay.LogbookDamaged, kept
	case r.origin.Copied:
		return bay.LogbookCopied, ""
	case r.origin.Again:
		return bay.LogbookMissing, ""
	case r.newest[name] > 0:
		return bay.MemoryMissing, ""
	case known:
		return bay.LogbookOlder, ""
	}
	return s.doubtsWitness(&r.origin), ""
}

// doubtsWitness returns why the lockout file cannot be compared with the logbook.
func (s *Source) doubtsWitness(origin *logbook.Origin) bay.Doubt {
	w := s.Witness
	switch {
	case w.first(origin):
		return bay.NoDoubt
	case w == nil, errors.Is(w.found, fs.ErrNotExist):
		return bay.LockoutMissing
	case w.found != nil:
		return bay.LockoutDamaged
	case origin.Mark != 0 && origin.Mark != w.was.Mark:
		return bay.LockoutOther
	}
	return bay.NoDoubt
}

// another reports whether events may have been numbered that the logbook does not have,
// and published: then the same numbers must not be given again in the same epoch.
func (s *Source) another(r *record) bool {
	if doubt := s.doubtsWitness(&r.origin); doubt == bay.LockoutMissing || doubt == bay.LockoutOther {
		return true
	}
	if s.Witness == nil {
		return false
	}
	for name, b := range s.Witness.was.Bays {
		if r.newest[name] < b.Newest {
			return true
		}
	}
	return false
}

// first reports whether there has never been a file for the logbook.
func (w *Witness) first(origin *logbook.Origin) bool {
	return origin.Mark == 0 && (w == nil || errors.Is(w.found, fs.ErrNotExist))
}

// knows returns what the file had of a bay.
func (w *Witness) knows(name string) (b lockout.Bay, known bool) {
	if w == nil {
		return b, false
	}
	b, known = w.was.Bays[name]
	return b, known
}

// expect notes what the file is to have of a bay until its memory is stored next: a
// doubt, so that it is not lost by another crash, or what the memory has.
func (w *Witness) expect(r *record, name string, m *bay.Memory, doubted bool) {
	if w == nil {
		return
	}
	b := lockout.Bay{Doubted: doubted, Newest: r.newest[name]}
	if m != nil {
		b.Held, b.Visit, b.Latches = m.Held, m.Visit != nil, m.Latches.Names()
	}
	w.is.Bays[name] = b
}
