package sensors

import (
	"errors"
	"fmt"
	"sync"

	"periph.io/x/conn/v3/gpio"
)

// ErrHalted means that the relay was halted and cannot be closed any more.
var ErrHalted = errors.New("relay is halted")

var errNoRelease = errors.New("release relay: the line cannot be returned to the kernel")

// output is all that a relay may do with a line. It deliberately cannot read one
// back: the kernel interface would turn the line into an input.
type output interface {
	Out(gpio.Level) error
}

// Relay is a bay's charge-enable output with its heartbeat. Open means a low line.
// It may be used from several goroutines, such as the loop and the guard that
// opens it when the loop is late.
type Relay struct {
	mu     sync.Mutex // guards the fields below
	charge output
	beat   output // nil if there is none
	closed bool
	high   bool // level of the heartbeat
	halted bool
}

// newRelay takes the lines and drives both low.
func newRelay(charge, beat output) (*Relay, error) {
	r := &Relay{charge: charge, beat: beat}
	err := r.lower()
	return r, err
}

// Set closes or opens the relay; the error is that of the line. It writes every
// time, to correct a line that something else has changed. If closing fails it
// tries to open the relay.
func (r *Relay) Set(closed bool) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if closed && r.halted {
		return ErrHalted
	}
	if err := r.charge.Out(gpio.Level(closed)); err != nil {
		if closed {
			err = errors.Join(err, r.charge.Out(gpio.Low))
			r.closed = false
		}
		return fmt.Errorf("set relay: %w", err)
	}
	r.closed = closed
	return nil
}

// Closed reports the last command. After a command to open that failed it stays
// true, because the relay may still be closed.
func (r *Relay) Closed() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.closed
}

// Beat toggles the heartbeat, which keeps an external timer relay from opening.
// Call it once for each good tick. Without a heartbeat it does nothing.
func (r *Relay) Beat() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	switch {
	case r.halted:
		return ErrHalted
	case r.beat == nil:
		return nil
	}
	if err := r.beat.Out(gpio.Level(!r.high)); err != nil {
		return fmt.Errorf("beat: %w", err)
	}
	r.high = !r.high
	return nil
}

// Halt opens the relay permanently. It may be called more than once.
func (r *Relay) Halt() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.halted = true
	return r.lower()
}

// Release opens the relay and returns its lines to the kernel, for another process
// to take. Set and Beat take them again. It is an error if a line cannot be
// returned.
func (r *Relay) Release() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := r.lower(); err != nil {
		return err
	}
	for _, o := range []output{r.charge, r.beat} {
		if o == nil {
			continue
		}
		c, ok := o.(interface{ release() error })
		if !ok {
			return errNoRelease
		}
		if err := c.release(); err != nil {
			return err
		}
	}
	return nil
}

// lower drives both lines low, the heartbeat even if the relay fails.
func (r *Relay) lower() error {
	err := r.charge.Out(gpio.Low)
	if err == nil {
		r.closed = false
	}
	if r.beat != nil {
		err = errors.Join(err, r.beat.Out(gpio.Low))
		r.high = false
	}
	if err != nil {
		return fmt.Errorf("open relay: %w", err)
	}
	return nil
}
