// Package bootclock reads the time since the machine's boot, which no change of the wall clock touches.
package bootclock

import (
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// Clock knows which boot of the machine this is and the time since then.
// Both together prove how long the agent was gone, whatever the wall clock did.
type Clock struct {
	ID string // "" when it is not known: then no gap is proven
}

// New reads which boot this is.
func New() Clock {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return Clock{}
	}
	return Clock{ID: strings.TrimSpace(string(id))}
}

// Now is the time since boot, suspended time included; 0 when it is not known.
func (Clock) Now() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return 0
	}
	return time.Duration(ts.Nano())
}

// Gap is the time since a stamp of this or another boot, and whether that is
// proven.
func (c Clock) Gap(bootID string, mono time.Duration) (time.Duration, bool) {
	now := c.Now()
	if c.ID == "" || c.ID != bootID || mono > now {
		return 0, false
	}
	return now - mono, true
}

// WallTrusted reports whether the kernel's wall clock has been set from a source
// since boot: a Pi has no battery clock.
func WallTrusted() bool {
	var tx unix.Timex
	state, err := unix.Adjtimex(&tx)
	return err == nil && state != unix.TIME_ERROR && tx.Status&unix.STA_UNSYNC == 0
}
