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
	"bayward/agent/words"
)

// Backup copies the logbook at path, which r reads, to a file. A file that exists is
// replaced only on request, and only once the new copy is complete.
func Backup(ctx context.Context, r *logbook.Reader, path, to string, replace bool) error {
	err := r.Backup(ctx, to)
	if !errors.Is(err, fs.ErrExist) {
		return err
	}
	if !replace {
		return usage.Error(words.Fail("usage.backup-there", to))
	}
	if sameFile(path, to) {
		return usage.Error(words.Fail("usage.backup-itself", to))
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
// chain covers, in the voice's language.
func WriteBackedUp(ctx context.Context, w io.Writer, v words.Voice, path string) error {
	r, err := logbook.OpenReadOnly(ctx, path)
	if err != nil {
		return words.Fail("records.read-copy", err)
	}
	chain, err := r.Verify(ctx)
	if err = errors.Join(err, r.Close()); err != nil {
		return words.Fail("records.verify-copy", err)
	}
	text := v.Say("records.copied", path, covers(v, &chain)) + "\n"
	if chain.Break != nil {
		text += v.Say("records.copied-broken", breakText(v, chain.Break)) + "\n"
	}
	_, err = io.WriteString(w, text)
	return err
}
