package main

import (
	"context"
	"sync"
)

// The lines of the board's GPIO chip, by number. Line 3 is its power key.
const (
	relayLine = iota
	heartbeatLine
	feedbackLine
	powerKey
	airflowLine
	completeLine
	numLines = 8
)

// lineNames are the lines' names in the configuration.
var lineNames = [numLines]string{
	relayLine: "GPIO17", heartbeatLine: "GPIO27", feedbackLine: "GPIO23", airflowLine: "GPIO24", completeLine: "GPIO25",
}

// seen is what has been seen of the outputs so far.
type seen struct {
	relay      bool
	rises      int // of the relay's line
	drops      int
	beats      int // edges of the heartbeat
	beatsAtUp  int // beats before the last rise
	beatsAtOff int // beats before the last drop
}

// journal follows the outputs. Its counters only grow.
type journal struct {
	mu      sync.Mutex // guards the fields below
	now     seen
	changed chan struct{} // closed at the next edge
}

func newJournal() *journal { return &journal{changed: make(chan struct{})} }

// edge records an edge of an output.
func (j *journal) edge(line int, high bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	n := &j.now
	switch {
	case line == heartbeatLine:
		n.beats++
	case line != relayLine || n.relay == high:
		return
	case high:
		n.relay, n.beatsAtUp = true, n.beats
		n.rises++
	default:
		n.relay, n.beatsAtOff = false, n.beats
		n.drops++
	}
	close(j.changed)
	j.changed = make(chan struct{})
}

func (j *journal) look() seen {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.now
}

// await returns when the outputs meet a condition, or ctx ends.
func (j *journal) await(ctx context.Context, fulfilled func(seen) bool) (seen, error) {
	for {
		j.mu.Lock()
		now, changed := j.now, j.changed
		j.mu.Unlock()
		if fulfilled(now) {
			return now, nil
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return now, ctx.Err()
		}
	}
}
