//go:build linux

package main

import (
	"os"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// hardwareSec is the time of the kernel's watchdog, like RuntimeWatchdogSec= in
// systemd's configuration.
const hardwareSec = 15

// watchdog serves /dev/watchdog until it is abandoned.
type watchdog struct {
	stop sync.Once
	end  chan struct{}
}

// openWatchdog starts serving it. Without a watchdog the machine still runs.
func openWatchdog() *watchdog {
	w := &watchdog{end: make(chan struct{})}
	f, err := os.OpenFile("/dev/watchdog", os.O_WRONLY, 0)
	if err != nil {
		say("watchdog: %v", err)
		return w
	}
	if err := unix.IoctlSetPointerInt(int(f.Fd()), unix.WDIOC_SETTIMEOUT, hardwareSec); err != nil {
		say("watchdog: set its time: %v", err)
	}
	go func() {
		t := time.NewTicker(time.Second)
		defer t.Stop()
		for {
			select {
			case <-w.end:
				return // the file stays open: closing it could disarm the watchdog
			case <-t.C:
				if _, err := f.Write([]byte{1}); err != nil {
					say("watchdog: %v", err)
				}
			}
		}
	}()
	return w
}

func (w *watchdog) abandon() { w.stop.Do(func() { close(w.end) }) }
