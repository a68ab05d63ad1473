package logbook

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"
)

// ErrOlder is returned for a logbook of an older program that no agent has brought
// to this program's schema yet.
var ErrOlder = errors.New("an older bayward wrote it")

// ErrNotYours is returned when the caller may not read the logbook, or not in its
// present state.
var ErrNotYours = errors.New("read it as the agent's user, such as by sudo -u bayward")

// ErrMoved is returned when an agent wrote to a logbook that was read as a file at
// rest. What was read may be wrong.
var ErrMoved = errors.New("an agent began to write during the read: try again")

// OpenReadOnly opens the logbook at path for reading only, without its lock. It
// writes nothing to the logbook itself. It rejects a file that is not a logbook, or
// whose schema is not this program's, with ErrForeign, ErrNewer or ErrOlder.
//
// A user who may read the file but not write to its folder can read it too: beside
// an agent through the files that it shares, and without one as a file at rest.
// Close then returns ErrMoved when the file did not stay at rest.
func OpenReadOnly(ctx context.Context, path string) (*Reader, error) {
	r, err := openReadOnly(ctx, path)
	if err != nil {
		return nil, fmt.Errorf("logbook %s: %w", path, err)
	}
	return r, nil
}

func openReadOnly(ctx context.Context, path string) (*Reader, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if _, err := os.Stat(path); err != nil { //nolint:gosec // the operator names the file
		return nil, notYours(err)
	}
	r, err := newReader(path)
	if err != nil {
		return nil, err
	}
	err = r.known(ctx)
	if cannotShare(err) {
		_ = r.Close() // it has read nothing
		if r, err = readAtRest(path); err != nil {
			return nil, err
		}
		err = r.known(ctx)
	}
	if err != nil {
		return nil, errors.Join(err, r.Close())
	}
	return r, nil
}

// readable explains in our words that a file may not be read. Call it only when the
// database could not open a handle: opening and closing a file gives up the locks
// of every other handle of this process on it.
func readable(path string) error {
	f, err := os.Open(path) //nolint:gosec // the operator names the file
	if err != nil {
		return notYours(err)
	}
	return f.Close()
}

// notYours adds what to do when permission is denied.
func notYours(err error) error {
	if errors.Is(err, fs.ErrPermission) {
		return fmt.Errorf("%w: %w", err, ErrNotYours)
	}
	return err
}

// known rejects a file that is not of this program's schema.
func (r *Reader) known(ctx context.Context) error {
	have, err := version(ctx, r.db)
	if err == nil && have < newest {
		err = fmt.Errorf("%w: its schema is version %d, this program reads %d: start the agent once to upgrade the file", ErrOlder, have, newest)
	}
	return err
}

// cannotShare reports whether the files through which readers and writers share a
// database are missing and cannot be created.
func cannotShare(err error) bool {
	e, ok := errors.AsType[*sqlite.Error](err)
	return ok && (e.Code()&0xff == lib.SQLITE_READONLY || e.Code()&0xff == lib.SQLITE_CANTOPEN)
}

// atRest is a file without a writer, as it was when it was opened.
type atRest struct {
	path string
	info os.FileInfo
}

// readAtRest opens a logbook that no agent has open, as a single file. It would
// miss what a killed agent has left in its log, so there must be no log.
func readAtRest(path string) (*Reader, error) {
	if err := readable(path); err != nil {
		return nil, err
	}
	if waits, err := logWaits(path); err != nil {
		return nil, err
	} else if waits {
		return nil, fmt.Errorf("its newest records are in %s-wal, which cannot be read from here: %w; "+
			"or copy both files to a folder of your own and read them there", path, ErrNotYours)
	}
	info, err := os.Stat(path) //nolint:gosec // the operator names the file
	if err != nil {
		return nil, err
	}
	r, err := newReader(path, "immutable=1")
	if err != nil {
		return nil, err
	}
	r.rest = &atRest{path, info}
	return r, nil
}

// logWaits reports whether there are records that are not in the file itself yet.
func logWaits(path string) (bool, error) {
	wal, err := os.Stat(path + "-wal") //nolint:gosec // the operator names the file
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	return err == nil && wal.Size() > 0, err
}

// moved reports whether the file has changed.
func (a *atRest) moved() error {
	if a == nil { // shared with a writer
		return nil
	}
	waits, err := logWaits(a.path)
	if err != nil {
		return err
	}
	now, err := os.Stat(a.path) //nolint:gosec // the operator names the file
	if err != nil {
		return err
	}
	if waits || !os.SameFile(now, a.info) || now.Size() != a.info.Size() || !now.ModTime().Equal(a.info.ModTime()) {
		return fmt.Errorf("logbook %s: %w", a.path, ErrMoved)
	}
	return nil
}
