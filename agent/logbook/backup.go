package logbook

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
	"modernc.org/sqlite"
)

// Backup writes a copy of the whole logbook, as of one moment, to a new file, even
// while an agent writes, and never holds the writer up for long. The copy is a logbook of its own, in one file, checked and
// synced before it gets its name. Backup never touches an existing file; the error
// is then fs.ErrExist. After an error there is no file.
func (r *Reader) Backup(ctx context.Context, file string) error {
	if err := r.backup(ctx, file); err != nil {
		return fmt.Errorf("logbook: back up to %s: %w", file, err)
	}
	return nil
}

func (r *Reader) backup(ctx context.Context, file string) (err error) {
	file, err = filepath.Abs(file)
	if err != nil {
		return err
	}
	if _, err := os.Lstat(file); err == nil {
		return fs.ErrExist
	}
	part, err := os.CreateTemp(filepath.Dir(file), "."+filepath.Base(file)+".part-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(part.Name()))
		}
	}()
	defer func() { err = errors.Join(err, part.Close()) }()
	if err := r.copyTo(ctx, part.Name()); err != nil {
		return err
	}
	if err := markCopied(ctx, part.Name()); err != nil {
		return err
	}
	if err := part.Sync(); err != nil {
		return err
	}
	if err := inspect(ctx, part.Name()); err != nil {
		return fmt.Errorf("check the copy: %w", err)
	}
	if err := renameNew(part.Name(), file); err != nil {
		return err
	}
	return syncFolder(file)
}

// copyAtOnce is how many pages are copied before the writer gets its turn.
const copyAtOnce = 256

// copyTo copies page by page, in short transactions. A commit in between makes the
// database begin again, so after twice the usual number of steps the rest is copied
// in one.
func (r *Reader) copyTo(ctx context.Context, file string) error {
	c, err := r.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer c.Close() //nolint:errcheck // only read from
	return c.Raw(func(driver any) error {
		from, ok := driver.(copier)
		if !ok {
			return errors.New("bug: the database's driver cannot copy")
		}
		to := url.URL{Scheme: "file", Path: file}
		b, err := from.NewBackup(to.String())
		if err != nil {
			return err
		}
		more := true
		for step := 1; more && err == nil; step++ {
			n := int32(copyAtOnce)
			if step > 1 && step > 2*(1+b.PageCount()/copyAtOnce) {
				n = -1
			}
			if more, err = b.Step(n); err == nil {
				err = ctx.Err()
			}
			r.pause()
		}
		return errors.Join(err, b.Finish())
	})
}

// copier is a connection of the database's driver.
type copier interface {
	NewBackup(to string) (*sqlite.Backup, error)
}

// renameNew gives a file its name unless that exists.
func renameNew(from, to string) error {
	err := unix.Renameat2(unix.AT_FDCWD, from, unix.AT_FDCWD, to, unix.RENAME_NOREPLACE)
	if !errors.Is(err, unix.EINVAL) && !errors.Is(err, unix.ENOSYS) {
		return err
	}
	// The file system cannot do both at once. A hard link does not replace either,
	// where hard links exist; that leaves the sticks without them.
	if err := os.Link(from, to); err == nil || errors.Is(err, fs.ErrExist) {
		return errors.Join(err, os.Remove(from))
	}
	if _, err := os.Lstat(to); err == nil {
		return fs.ErrExist
	}
	return os.Rename(from, to)
}
