package replay

import (
	"fmt"
	"io"
	"sync"
)

const (
	// holdBack is how much of a trace's output may wait for its turn; a trace that
	// writes more waits itself, so memory stays flat.
	holdBack = 1 << 20
	// ahead is how many traces for each worker may be running or waiting for their
	// turn.
	ahead = 4
)

// Many runs one job for each trace, at most workers at a time, and lets each write
// as if they ran one after another. It returns the error of each job, in order; one
// that fails does not stop the others.
func Many(w io.Writer, workers int, jobs []func(io.Writer) error) []error {
	errs := make([]error, len(jobs))
	cpu, room := make(chan struct{}, workers), make(chan struct{}, ahead*workers)
	turn := make(chan struct{})
	close(turn) // the first has it
	var all sync.WaitGroup
	for i, job := range jobs {
		room <- struct{}{}
		cpu <- struct{}{} // in the order of the traces, so that the one whose turn it is always runs
		q := &queued{w: w, turn: turn, cpu: cpu}
		next := make(chan struct{})
		all.Go(func() {
			err := contained(job, q)
			<-cpu
			<-q.turn
			if werr := q.flush(); err == nil {
				err = werr
			}
			errs[i] = err
			close(next)
			<-room
		})
		turn = next
	}
	all.Wait()
	return errs
}

// contained keeps a panic over one trace from ending the others.
func contained(job func(io.Writer) error, w io.Writer) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("bug: replay panicked: %v", p)
		}
	}()
	return job(w)
}

// queued is the output of one trace. It buffers what is written until the traces
// before it are done.
type queued struct {
	w    io.Writer
	turn <-chan struct{}
	cpu  chan struct{}
	buf  []byte
	mine bool // its turn has come
	err  error
}

// Write buffers p or passes it on; it waits when too much is buffered.
func (q *queued) Write(p []byte) (int, error) {
	if !q.mine && len(q.buf)+len(p) > holdBack {
		<-q.cpu // lets another work meanwhile
		<-q.turn
		q.cpu <- struct{}{}
		q.mine = true
	}
	if !q.mine {
		select {
		case <-q.turn:
			q.mine = true
		default:
			q.buf = append(q.buf, p...)
			return len(p), nil
		}
	}
	if err := q.flush(); err != nil {
		return 0, err
	}
	return q.w.Write(p)
}

// flush writes the buffer.
func (q *queued) flush() error {
	if q.err == nil && len(q.buf) > 0 {
		_, q.err = q.w.Write(q.buf)
		q.buf = nil
	}
	return q.err
}
