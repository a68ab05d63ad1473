// Package footprint keeps the memory of a started agent small.
//
// The agent shares a small board with others for years, and it needs little: its
// start touches most of the program and makes garbage, its ticks do neither.
package footprint

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// gcPercent lets the heap grow by half before it is collected, instead of
// doubling: by 1 MB, since less than 2 MB live. Eight bays allocate about 0.1 MB a
// second, so that a collection of some milliseconds comes every ten seconds.
const gcPercent = 50

// startedAfter is how long the agent has to start, with what follows the start:
// the broker's session, the first page, the first scrape.
const startedAfter = 10 * time.Second

// KeepHeapSmall asks the garbage collector to collect early, unless whoever
// started the program has asked for something else.
func KeepHeapSmall() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
}

// ReleaseStart returns to the kernel, once and some seconds from now, what only
// the start needed. It returns early, without an error, when ctx ends.
//
// No relay waits for it: the pages of the program's file stay in the kernel's
// cache, where they were mapped from. Those that ticks need come back by some
// hundred minor faults, once and within a tick; the others are of that part of
// the file which the kernel lets go first when memory gets scarce in any case,
// mapped or not, because nothing has used them. What opens a relay is used by
// every tick that blocks the charge, and by the guard that refreshes.
func ReleaseStart(ctx context.Context, log *slog.Logger) error {
	t := time.NewTimer(startedAfter)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return nil
	case <-t.C:
	}
	debug.FreeOSMemory()
	if err := unmapProgram(); err != nil {
		log.Debug("pages of the start stay mapped", "err", err)
	}
	return nil
}

// unmapProgram unmaps the pages of the program's own file: they are mapped again
// from the kernel's cache as they are used.
func unmapProgram() error {
	program, err := os.Readlink("/proc/self/exe")
	if err != nil {
		return fmt.Errorf("the program's file: %w", err)
	}
	f, err := os.Open("/proc/self/smaps")
	if err != nil {
		return fmt.Errorf("the memory map: %w", err)
	}
	defer func() { _ = f.Close() }()
	for _, m := range unchanged(f, program) {
		if _, _, errno := unix.Syscall(unix.SYS_MADVISE, m.from, m.to-m.from, unix.MADV_DONTNEED); errno != 0 {
			return fmt.Errorf("madvise: %w", errno)
		}
	}
	return nil
}

// mapping is a stretch of addresses.
type mapping struct{ from, to uintptr }

// unchanged are the mappings of the file that cannot be written and of which no
// page differs from the file: a page that does, as of relocations, would be lost.
func unchanged(smaps io.Reader, file string) (out []mapping) {
	var m mapping
	mine := false
	for lines := bufio.NewScanner(smaps); lines.Scan(); {
		line := lines.Text()
		var from, to uintptr
		var perms string
		if n, _ := fmt.Sscanf(line, "%x-%x %s", &from, &to, &perms); n == 3 {
			m = mapping{from, to}
			mine = len(perms) == 4 && perms[1] == '-' && strings.HasSuffix(line, " "+file)
			continue
		}
		var kB int
		if n, _ := fmt.Sscanf(line, "Anonymous: %d kB", &kB); mine && n == 1 && kB == 0 {
			out = append(out, m)
		}
	}
	return out
}
