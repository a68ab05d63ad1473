package records

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"bayward/agent/logbook"
	"bayward/agent/usage"
)

// Backup copies the logbook at path, which r reads, to a file. A file that exists is
// replaced only on request, and only once the new copy is complete.
func Backup(ctx context.Context, r *logbook.Reader, path, to string, replace bool) error {
	err := r.Backup(ctx, to)
	if !errors.Is(err, fs.ErrExist) {
		return err
	}
	if !replace {
		return usage.Errorf("%s: it is there already; name another file, or say --replace", to)
	}
	if sameFile(path, to) {
		return usage.Errorf("%s: it is the logbook itself; name another file", to)
	}
	next := fmt.Sprintf("%s.next-%d", to, os.Getpid())
	if err := r.Backup(ctx, next); err != nil {
		return err
	}
	return os.Rename(next, to)
}

func sameFile(a, b string) bool {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	return errX == nil && errY == nil && os.SameFile(x, y)
}

// WriteBackedUp reads a copy as a person who needs it would, and reports what its
// chain covers.
func WriteBackedUp(ctx context.Context, w io.Writer, path string) error {
	r, err := logbook.OpenReadOnly(ctx, path)
	if err != nil {
		return fmt.Errorf("read the copy: %w", err)
	}
	chain, err := r.Verify(ctx)
	if err = errors.Join(err, r.Close()); err != nil {
		return fmt.Errorf("verify the copy: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s: the logbook with %s in its chain.\n", path, chain.Covers())
	if chain.Break != nil {
		_, err = fmt.Fprintf(w, "The chain is broken in the copy as in the logbook: %s\n", chain.Break)
	}
	return err
}
