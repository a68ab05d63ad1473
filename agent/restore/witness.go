package restore

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"log/slog"
	"maps"
	"math/rand/v2"

	"bayward/agent/bay"
	"bayward/agent/lockout"
	"bayward/agent/logbook"
)

// Witness keeps the lockout file of a logbook: who is locked out by what is on
// record. At the start the logbook is compared with it.
type Witness struct {
	path  string
	log   *slog.Logger
	file  *lockout.File // nil while it cannot be opened
	found error         // why it cannot be believed; nil for a good one, fs.ErrNotExist for none
	was   lockout.State // as it was found
	is    lockout.State // as it is to be written next
}

// OpenWitness opens the lockout file beside the logbook at path, if there is one.
// What is wrong with it shows when a bay is restored.
func OpenWitness(path string, log *slog.Logger) *Witness {
	w := &Witness{path: path + lockout.Suffix, log: log}
	if w.file, w.found = lockout.Open(w.path); w.found == nil {
		w.was, w.found = w.file.State()
	}
	if w.found != nil && !errors.Is(w.found, fs.ErrNotExist) {
		log.Error("the lockout file cannot be used", "path", w.path, "err", w.found)
	}
	w.is = lockout.State{Mark: w.was.Mark, Bays: maps.Clone(w.was.Bays)}
	if w.is.Bays == nil {
		w.is.Bays = map[string]lockout.Bay{}
	}
	return w
}

// Stored takes what was just committed to the logbook, and returns once the file has
// it too. After an error it is called again with the same. It belongs to one
// goroutine, after the bays are restored.
func (w *Witness) Stored(batch []logbook.Entry) error {
	bays := maps.Clone(w.is.Bays)
	for i := range batch {
		e := &batch[i]
		b := bays[e.Bay]
		b.Newest += uint64(len(e.Events))
		if e.Memory != nil {
			b = asked(e.Memory, b.Newest)
		}
		bays[e.Bay] = b
	}
	if err := w.write(lockout.State{Mark: w.is.Mark, Bays: bays}); err != nil {
		return err
	}
	w.is.Bays = bays
	return nil
}

// write replaces what the file has, unless that is the same.
func (w *Witness) write(next lockout.State) (err error) {
	if w.file == nil {
		if w.file, err = lockout.Open(w.path); err != nil {
			return err
		}
	}
	if has, bad := w.file.State(); bad == nil && has.Equal(&next) {
		return nil
	}
	return w.file.Write(next)
}

// Close closes the file.
func (w *Witness) Close() error {
	if w.file == nil {
		return nil
	}
	return w.file.Close()
}

// asked returns who is locked out by a stored memory.
func asked(memory []byte, newest uint64) lockout.Bay {
	var m struct {
		Held    bool            `json:"held"`
		Visit   json.RawMessage `json:"visit"`
		Latches bay.Latches     `json:"latches"`
	}
	if err := json.Unmarshal(memory, &m); err != nil {
		return lockout.Bay{Held: true, Newest: newest} // whoever restores it holds the bay as well
	}
	return lockout.Bay{Held: m.Held, Visit: m.Visit != nil, Latches: m.Latches.Names(), Newest: newest}
}

// shows reports whether a memory has everything that the file has.
func shows(m *bay.Memory, b *lockout.Bay) bool {
	for _, l := range b.Latches {
		if _, ok := m.Latches[l]; !ok {
			return false
		}
	}
	return (m.Held || !b.Held) && (m.Visit != nil || !b.Visit)
}

// pair makes file and logbook know each other, which they do from the first start
// on. Until then a crash changes nothing: the next start does the same again.
func (w *Witness) pair(ctx context.Context, book *logbook.Book, origin *logbook.Origin) error {
	if origin.Mark != 0 {
		w.is.Mark = origin.Mark // a file that has another one was doubted, and is replaced
		return nil
	}
	if w.found != nil || w.is.Mark == 0 {
		w.is.Mark = rand.Uint64() | 1 //nolint:gosec // G404: it only differs from file to file, it protects nothing
	}
	if errors.Is(w.found, fs.ErrNotExist) { // otherwise the doubt is in the file, until the hold is on record
		if err := w.write(w.is); err != nil {
			return err
		}
	}
	return book.SetMark(ctx, w.is.Mark)
}
