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

// OpenReadOnly opens the logbook at path for reading only, without its lock. It
// writes nothing to the logbook itself. It rejects a file that is not a logbook, or
// whose schema is not this program's, with ErrForeign, ErrNewer or ErrOlder. A user
// who may read the file but not write to it or its folder can read it too.
//
// After an agent that was killed during a commit, opening takes back what was half
// written, as the agent's next start would; only who may write the file can do that.
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
	if halfWritten(err) {
		if err = takeBack(ctx, path); err == nil {
			err = r.known(ctx)
		}
	}
	if err != nil {
		_ = r.Close() // it has read nothing
		if why := unreadable(path, err); why != nil {
			return nil, why
		}
		return nil, err
	}
	return r, nil
}

// takeBack rolls back the commit that an agent was killed in. The database does so
// by itself when it opens a file that it may write.
func takeBack(ctx context.Context, path string) error {
	db, err := handle(path, "mode=rw&_busy_timeout=5000&_pragma=cache_size(-256)")
	if err != nil {
		return err
	}
	_, err = version(ctx, db)
	if halfWritten(err) {
		err = fmt.Errorf("its last commit was cut off, and %s-journal is needed to take that back: %w; "+
			"or copy both files to a folder of your own and read them there", path, ErrNotYours)
	}
	return errors.Join(err, db.Close())
}

// unreadable explains an error of the database in our words: the file may not be
// read, or it has a log that needs to be written. Call it only after all handles are
// closed, see handle.
func unreadable(path string, err error) error {
	e, ok := errors.AsType[*sqlite.Error](err)
	if !ok || e.Code()&0xff != lib.SQLITE_CANTOPEN && e.Code()&0xff != lib.SQLITE_READONLY {
		return nil
	}
	f, err := os.Open(path) //nolint:gosec // the operator names the file
	if err != nil {
		return notYours(err)
	}
	if _, err := os.Stat(path + "-wal"); err == nil { //nolint:gosec // the operator names the file
		err = fmt.Errorf("%w and left a log: start the agent once to upgrade the file", ErrOlder)
		return errors.Join(err, f.Close())
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

// halfWritten reports whether a commit must be taken back before the file can be
// read.
func halfWritten(err error) bool {
	e, ok := errors.AsType[*sqlite.Error](err)
	return ok && e.Code() == lib.SQLITE_READONLY_ROLLBACK
}

// busy reports whether another program or handle had the file for too long.
func busy(err error) bool {
	e, ok := errors.AsType[*sqlite.Error](err)
	return ok && e.Code()&0xff == lib.SQLITE_BUSY
}
