package logbook

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"syscall"
)

// ErrLocked is returned when another agent has the logbook open. Two agents on one
// file would give the same numbers to different events.
var ErrLocked = errors.New("another agent has it open")

const lockSuffix = ".lock"

// lock takes the file beside the logbook that marks its owner. The kernel releases
// the lock when the process ends, however it ends; the file stays.
func lock(path string) (*os.File, error) {
	f, err := os.OpenFile(path+lockSuffix, os.O_RDWR|os.O_CREATE, 0o640) //nolint:gosec // readable by the group, as the logbook is
	if err != nil {
		return nil, fmt.Errorf("lock: %w", err)
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, errors.Join(locked(f), f.Close())
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("lock %s: %w", f.Name(), err), f.Close())
	}
	return f, errors.Join(f.Truncate(0), sign(f))
}

// sign writes the process id for the message that a second agent prints.
func sign(f *os.File) error {
	_, err := f.WriteAt(fmt.Appendf(nil, "%d\n", os.Getpid()), 0)
	return err
}

func locked(f *os.File) error {
	who, err := io.ReadAll(io.LimitReader(f, 32))
	if pid := strings.TrimSpace(string(who)); err == nil && pid != "" {
		return fmt.Errorf("%w (process %s): stop it, or give this agent a logbook of its own", ErrLocked, pid)
	}
	return fmt.Errorf("%w: stop it, or give this agent a logbook of its own", ErrLocked)
}
