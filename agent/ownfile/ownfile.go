// Package ownfile notices that the disk under the running program is gone.
//
// A program whose file cannot be read any more lives on with the pages that it has,
// and dies at the first one that it has not: in some minutes, or in the middle of a
// charge next week. Nothing can be recorded or started again meanwhile. It is better
// to end at once, in good order.
//
// A disk that only hangs is another matter: it may answer again, and the agent goes on.
package ownfile

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"golang.org/x/sys/unix"
)

const (
	every     = time.Second            // between two looks
	again     = 500 * time.Millisecond // after a look that failed: one failure may be a weak card
	lookBytes = 4096                   // of a direct read: a multiple of every usual block
)

// gone are the errors of a disk that is not there.
var gone = []error{unix.EIO, unix.ENXIO, unix.ENODEV, unix.ENOMEDIUM, unix.ESHUTDOWN, unix.ESTALE}

// Watch reads the beginning of the program's file from its disk, past the kernel's
// cache, until ctx ends. It returns an error when the disk is gone. Where a file cannot
// be read past the cache there is no disk to watch.
func Watch(ctx context.Context, log *slog.Logger) error {
	fd, err := unix.Open("/proc/self/exe", unix.O_RDONLY|unix.O_DIRECT|unix.O_CLOEXEC, 0)
	if err != nil {
		log.Debug("the program's disk is not watched", "err", err)
		return nil
	}
	buf, err := unix.Mmap(-1, 0, lookBytes, unix.PROT_READ|unix.PROT_WRITE, unix.MAP_ANON|unix.MAP_PRIVATE) // aligned, as a direct read needs it
	if err != nil {
		return errors.Join(fmt.Errorf("memory for a direct read: %w", err), unix.Close(fd))
	}
	// Both are left to the end of the process: a look that hangs still uses them.
	return watch(ctx, func() error { _, err := unix.Pread(fd, buf, 0); return err })
}

// watch looks in a goroutine of its own, because a disk that hangs must not keep the
// agent from ending.
func watch(ctx context.Context, look func() error) error {
	results := make(chan error, 1)
	failed := false
	for pause := every; ; {
		t := time.NewTimer(pause)
		select {
		case <-ctx.Done():
			t.Stop()
			return nil
		case <-t.C:
		}
		go func() { results <- look() }()
		select {
		case <-ctx.Done():
			return nil
		case err := <-results:
			is := slices.ContainsFunc(gone, func(g error) bool { return errors.Is(err, g) })
			if is && failed {
				return fmt.Errorf("the disk with the program is gone: %w", err)
			}
			failed, pause = is, every
			if is {
				pause = again
			}
		}
	}
}
