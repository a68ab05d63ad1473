package lease

import (
	"errors"
	"fmt"
	"sync"
	"time"
)

// Errors of Relay.Lease. The relay is open after each of them, or opens by the end of
// its last lease.
var (
	// ErrTripped means that the keeper had opened the relay by itself. It closes again
	// for the next lease.
	ErrTripped = errors.New("the keeper had opened the relay")
	ErrSilent  = errors.New("the keeper does not answer")
	ErrLate    = errors.New("the lease was over when the keeper had it")
	ErrLine    = errors.New("the keeper cannot drive the line")
	ErrUnknown = errors.New("the keeper was started with other lines")
)

// Link carries frames to a keeper.
type Link interface {
	// Exchange sends a request and waits for its answer, for a short time. After an
	// error the keeper has dropped the connection, or will: all relays are open.
	Exchange(request *[RequestSize]byte, answer *[AnswerSize]byte) error
	// Drop breaks the connection, so that the keeper opens all relays: after an answer
	// that no keeper gives, nobody knows what it drives.
	Drop()
}

// Client asks a keeper for leases, for one agent. It may be used from several
// goroutines.
type Client struct {
	mu       sync.Mutex // guards what follows, and the link
	link     Link
	sequence uint64
	losses   uint64 // exchanges without an answer; the keeper opens every relay
	request  [RequestSize]byte
	answer   [AnswerSize]byte
}

// NewClient returns a client that speaks over a link.
func NewClient(l Link) *Client { return &Client{link: l} }

// Relay is a bay's charge-enable relay as an agent has it.
type Relay struct {
	client *Client
	row    Row
	id     uint32
	trips  uint32 // that the agent knows of
	met    bool   // the keeper has answered for this bay
	closed bool   // by the last answer
	losses uint64 // of the client at the last answer
}

// Relay returns the relay of a bay.
func (c *Client) Relay(row Row) *Relay { return &Relay{client: c, row: row, id: row.id()} }

// Lease asks for the relay to be closed until span after at, or opens it if span is 0.
// at is when the decision was begun, by CLOCK_BOOTTIME; a span beyond Longest is cut.
// With beat the heartbeat beats once.
func (r *Relay) Lease(at, span time.Duration, beat bool) error {
	r.client.mu.Lock()
	defer r.client.mu.Unlock()
	lost := r.closed && r.losses != r.client.losses // by an exchange for another bay
	if lost {
		span = 0
	}
	a, err := r.client.exchange(request{bay: r.id, at: at, span: min(span, Longest), beat: beat, trips: r.trips})
	if err != nil {
		r.closed = false
		r.client.losses++
		return fmt.Errorf("relay of %s: %w: %w", r.row.Bay, ErrSilent, err)
	}
	tripped := r.met && a.trips != r.trips || lost
	met := r.met
	r.trips, r.met, r.closed, r.losses = a.trips, true, a.closed, r.client.losses
	switch {
	case a.fault == unacknowledged && !met && span == 0: // by an agent that was here before
		return nil
	case tripped:
		return fmt.Errorf("relay of %s: %w", r.row.Bay, ErrTripped)
	case a.fault != none:
		return fmt.Errorf("relay of %s: %w", r.row.Bay, errorOf(a.fault))
	}
	return nil
}

// Closed reports whether the keeper drove the relay closed when it last answered.
func (r *Relay) Closed() bool {
	r.client.mu.Lock()
	defer r.client.mu.Unlock()
	return r.closed
}

func errorOf(fault byte) error {
	switch fault {
	case late:
		return ErrLate
	case line:
		return ErrLine
	case unknown:
		return ErrUnknown
	}
	return ErrTripped
}

var errAnswer = errors.New("the answer is for another frame")

// exchange numbers a request and returns its answer. The caller holds the mutex.
func (c *Client) exchange(r request) (a answer, err error) {
	c.sequence++
	r.sequence = c.sequence
	r.encode(&c.request)
	if err := c.link.Exchange(&c.request, &c.answer); err != nil {
		return a, err
	}
	err = a.decode(c.answer[:])
	if err == nil && (a.sequence != r.sequence || a.bay != r.bay) {
		err = errAnswer
	}
	if err != nil {
		c.link.Drop()
	}
	return a, err
}
