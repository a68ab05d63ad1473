package lease

import (
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"
)

// Output is all that a keeper may do with a line. It cannot read one back: the
// kernel's interface would turn the line into an input.
type Output interface {
	// Out drives the line.
	Out(gpio.Level) error
}

// Lines are the outputs of one bay. Low opens the relay.
type Lines struct {
	Row    Row
	Charge Output
	Beat   Output // nil without a heartbeat
}

// Keeper drives the lines of all bays. It reads no clock: every call gives the time
// by CLOCK_BOOTTIME, which must not go back. It is for one goroutine at a time, and
// its calls allocate nothing as long as the lines obey.
type Keeper struct {
	bays     []bay
	sequence uint64        // of the connection's last frame
	spoken   time.Duration // when it came
	gone     bool          // nobody is connected
	request  request
	answer   answer
}

type bay struct {
	Lines
	id     uint32
	driven bool          // closed was ordered, and no later order to open was obeyed
	leased bool          // the relay may be closed until end
	end    time.Duration // of the lease
	trips  uint32        // leases that have ended by themselves
	high   bool          // level of the heartbeat
}

// ErrPeer is returned for a frame that no working agent sends. All relays are open;
// drop the connection.
var ErrPeer = errors.New("the agent breaks the protocol")

// NewKeeper drives all lines low, as many as it can, and returns the errors of those
// that it could not, or an error for two rows that cannot be told apart.
func NewKeeper(lines []Lines) (*Keeper, error) {
	k := &Keeper{bays: make([]bay, len(lines)), gone: true}
	var errs []error
	for i := range lines {
		b := &k.bays[i]
		*b = bay{Lines: lines[i], id: lines[i].Row.id(), driven: true}
		errs = append(errs, b.lower())
		if k.find(b.id) != b {
			errs = append(errs, fmt.Errorf("two rows that cannot be told apart: %q and %q", k.find(b.id).Row, b.Row))
		}
	}
	return k, errors.Join(errs...)
}

func (k *Keeper) find(id uint32) *bay {
	for i := range k.bays {
		if k.bays[i].id == id {
			return &k.bays[i]
		}
	}
	return nil
}

// Answer carries out a frame and writes the answer. With an error there is none, and
// every relay is open.
func (k *Keeper) Answer(now time.Duration, frame []byte, out *[AnswerSize]byte) error {
	k.Expire(now)
	r := &k.request
	if err := r.decode(frame); err != nil || r.at > now || r.sequence <= k.sequence {
		return errors.Join(ErrPeer, k.Release())
	}
	k.sequence, k.spoken, k.gone = r.sequence, now, false
	k.answer = answer{bay: r.bay, sequence: r.sequence, fault: unknown}
	if b := k.find(r.bay); b != nil {
		k.answer.fault = b.take(now, r)
		k.answer.trips, k.answer.closed = b.trips, b.driven
	}
	k.answer.encode(out)
	return nil
}

// take carries out a frame for its bay and returns the fault.
func (b *bay) take(now time.Duration, r *request) byte {
	fresh := now-r.at < Longest
	closes := r.span > 0 && now < r.at+r.span && r.trips == b.trips
	b.leased, b.end = closes, r.at+r.span
	if !b.drive(closes) {
		return line
	}
	if fresh && r.beat && !b.toggle() {
		return line
	}
	switch {
	case r.trips != b.trips:
		return unacknowledged
	case r.span > 0 && !closes:
		return late
	}
	return none
}

// drive orders the relay and reports whether the line has obeyed. It writes every
// time, to correct a line that something else has changed. If closing fails, it
// opens.
func (b *bay) drive(closed bool) bool {
	if closed {
		b.driven = true // until proven otherwise
		if b.Charge.Out(gpio.High) == nil {
			return true
		}
		b.leased = false
	}
	if b.Charge.Out(gpio.Low) != nil {
		return false
	}
	b.driven = false
	return !closed
}

func (b *bay) toggle() bool {
	if b.Beat == nil {
		return true
	}
	if b.Beat.Out(gpio.Level(!b.high)) != nil {
		return false
	}
	b.high = !b.high
	return true
}

// lower opens the relay and ends its heartbeat, that even if the relay fails.
func (b *bay) lower() error {
	b.leased = false
	err := b.Charge.Out(gpio.Low)
	if err == nil {
		b.driven = false
	}
	if b.Beat != nil {
		err = errors.Join(err, b.Beat.Out(gpio.Low))
		b.high = false
	}
	if err != nil {
		return fmt.Errorf("open the relay of %s: %w", b.Row.Bay, err)
	}
	return nil
}

// Expire opens every relay whose lease has ended, and tries again to open one that
// has not obeyed. A lease that ends is a trip: the agent must learn of it before the
// relay closes again.
func (k *Keeper) Expire(now time.Duration) {
	for i := range k.bays {
		b := &k.bays[i]
		switch {
		case b.leased && now >= b.end:
			b.leased = false
			b.trips++
			b.drive(false)
		case b.driven && !b.leased:
			b.drive(false)
		}
	}
}

// again is the time between two orders to a relay that does not open.
const again = 100 * time.Millisecond

// Next returns how long the keeper may sleep before its next Expire, negative for as
// long as nobody speaks.
func (k *Keeper) Next(now time.Duration) time.Duration {
	next := time.Duration(-1)
	for i := range k.bays {
		b := &k.bays[i]
		wait := time.Duration(-1)
		switch {
		case b.leased:
			wait = max(b.end-now, 0)
		case b.driven:
			wait = again
		}
		if wait >= 0 && (next < 0 || wait < next) {
			next = wait
		}
	}
	return next
}

// Release opens every relay and ends every heartbeat, because the agent is gone. It
// returns the errors of the lines.
func (k *Keeper) Release() error {
	k.sequence, k.gone = 0, true
	var errs []error
	for i := range k.bays {
		if err := k.bays[i].lower(); err != nil {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

// Free reports whether another agent may connect. An agent that is silent for longer
// than a lease has lost its place.
func (k *Keeper) Free(now time.Duration) bool {
	return k.gone || now-k.spoken >= Longest
}

// Trips returns how many leases have ended by themselves.
func (k *Keeper) Trips() (n uint64) {
	for i := range k.bays {
		n += uint64(k.bays[i].trips)
	}
	return n
}
