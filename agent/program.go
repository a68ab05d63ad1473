package main

import (
	"fmt"
	"io"
	"os/signal"
	"syscall"

	"bayward/agent/usage"
	"bayward/agent/words"
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
	voice          words.Voice // of the person at the terminal
}

// complain prints an error for a person and gives the exit code.
func (p *program) complain(err error) int {
	if err == nil {
		return exitDone
	}
	_, _ = fmt.Fprintf(p.stderr, "bayward: %s\n", p.voice.Error(err))
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

// wrong is wrong use or wrong input, as a sentence of agent/words.
func wrong(key string, values ...any) error { return usage.Error(failed(key, values...)) }

// failed is a failure, as a sentence of agent/words.
func failed(key string, values ...any) error { return words.Fail("usage."+key, values...) }
