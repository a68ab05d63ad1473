package logbook

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// Backup writes a copy of the whole logbook, as of one moment, to a new file, even
// while an agent writes. The copy is a logbook of its own, in one file, checked and
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
	if _, err := r.db.ExecContext(ctx, `VACUUM INTO ?`, part.Name()); err != nil {
		return err
	}
	if err := r.rest.moved(); err != nil {
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
