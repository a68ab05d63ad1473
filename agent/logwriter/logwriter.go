// Package logwriter writes a log without ever blocking the caller.
package logwriter

import (
	"bytes"
	"fmt"
	"io"
	"sync/atomic"
	"time"
)

// maxLines is how many log lines are buffered for a stuck reader.
const maxLines = 1000

// Writer never blocks: a stopped terminal or a full pipe must not delay a tick.
// Lines that do not fit are dropped and counted.
type Writer struct {
	w    io.Writer
	next chan []byte
	lost atomic.Uint64
	stop chan struct{}
	done chan struct{}
}

// New starts the writing goroutine. Close must stop it.
func New(w io.Writer) *Writer {
	l := &Writer{w: w, next: make(chan []byte, maxLines), stop: make(chan struct{}), done: make(chan struct{})}
	go l.run()
	return l
}

// Write stores a copy of a line. It never fails.
func (l *Writer) Write(line []byte) (int, error) {
	select {
	case l.next <- bytes.Clone(line):
	default:
		l.lost.Add(1)
	}
	return len(line), nil
}

func (l *Writer) run() {
	defer close(l.done)
	for {
		select {
		case line := <-l.next:
			l.put(line)
		case <-l.stop:
			l.rest()
			return
		}
	}
}

func (l *Writer) rest() {
	for {
		select {
		case line := <-l.next:
			l.put(line)
		default:
			return
		}
	}
}

// put ignores errors: there is nowhere to report them.
func (l *Writer) put(line []byte) {
	_, _ = l.w.Write(line)
	if n := l.lost.Swap(0); n > 0 {
		_, _ = fmt.Fprintf(l.w, "level=WARN msg=\"lines of this log were lost: nobody read them in time\" lost=%d\n", n)
	}
}

// Close writes the buffered lines for at most a second, which is enough for a live
// reader. It must be called only once. Later lines are lost.
func (l *Writer) Close() {
	close(l.stop)
	t := time.NewTimer(time.Second)
	defer t.Stop()
	select {
	case <-l.done:
	case <-t.C:
	}
}
