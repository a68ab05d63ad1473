package main

import (
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// bootClock tells which boot of the machine this is and the time since then.
// Both together prove how long the agent was gone, whatever the wall clock did.
type bootClock struct {
	id string // "" when it is not known: then no gap is proven
}

func newBootClock() bootClock {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return bootClock{}
	}
	return bootClock{id: strings.TrimSpace(string(id))}
}

// now is the time since boot, suspended time included.
func (bootClock) now() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return 0
	}
	return time.Duration(ts.Nano())
}

// gap is the time since a stamp of this or another boot, and whether that is
// proven.
func (c bootClock) gap(bootID string, mono time.Duration) (time.Duration, bool) {
	now := c.now()
	if c.id == "" || c.id != bootID || mono > now {
		return 0, false
	}
	return now - mono, true
}

// wallTrusted tells whether the kernel's clock has been set from a source
// since boot: a Pi has no battery clock.
func wallTrusted() bool {
	var tx unix.Timex
	state, err := unix.Adjtimex(&tx)
	return err == nil && state != unix.TIME_ERROR && tx.Status&unix.STA_UNSYNC == 0
}
