package main

import (
	"fmt"
	"io"
	"os/signal"
	"syscall"

	"bayward/agent/usage"
)

// Exit codes.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2 // wrong use or wrong input
)

// program is what a command may touch of the world.
type program struct {
	stdin          io.Reader
	stdout, stderr io.Writer
}

// complain prints an error for a person and gives the exit code.
func (p *program) complain(err error) int {
	if err == nil {
		return exitDone
	}
	_, _ = fmt.Fprintf(p.stderr, "bayward: %v\n", err)
	if usage.Is(err) {
		return exitUsage
	}
	return exitFailed
}

// outliveReaders keeps a program that drives relays from being killed, with a
// relay closed, because the reader of its log has gone.
func outliveReaders() { signal.Ignore(syscall.SIGPIPE) }

// outliveKeys keeps a terminal's stop key (Ctrl-Z) from freezing a program that
// holds a relay closed. Processes that it starts inherit that.
func outliveKeys() { signal.Ignore(syscall.SIGTSTP) }

const about = `bayward looks after the vented lead-acid battery on a charging bay: it blocks the charge while the plates may be bare, ` +
	`follows the charge to proven full, enforces the cool-down, and reports when and how much water each cell needs.

It is not a certified safety device: local codes, the battery's own instructions and licensed practice come first.

Exit codes: 0 done, 1 failed, 2 wrong use or wrong input.`
