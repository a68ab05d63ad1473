package loop

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"bayward/agent/bay"
	"bayward/agent/order"
)

// Errors of Submit.
var (
	ErrNoBay = errors.New("no such bay")
	ErrBusy  = errors.New("too many orders waiting; try again")
	ErrEnded = errors.New("the loop has ended")
)

// maxOrders is how many orders of one bay may wait for its next tick.
const maxOrders = 32

// desk accepts orders from any goroutine and hands them to the ticks.
type desk struct {
	mu      sync.Mutex // guards the fields below
	waiting []order.Order
	answers map[string]chan bay.Event
}

// Submit gives an order to a bay and waits for the tick that takes or refuses it.
// The event names which, and why. It returns early when ctx ends, and with ErrEnded
// when there are no more ticks; the order may then still have been carried out.
func (l *Loop) Submit(ctx context.Context, bayName string, o order.Order) (bay.Event, error) {
	b := l.find(bayName)
	if b == nil {
		return bay.Event{}, fmt.Errorf("%w: %q", ErrNoBay, bayName)
	}
	select {
	case <-l.ended:
		return bay.Event{}, ErrEnded
	default:
	}
	answer := make(chan bay.Event, 1)
	if err := b.desk.put(o, answer); err != nil {
		return bay.Event{}, err
	}
	defer b.desk.forget(o.ID, answer)
	select {
	case e := <-answer:
		return e, nil
	case <-ctx.Done():
		return bay.Event{}, fmt.Errorf("wait for the next tick: %w", ctx.Err())
	case <-l.ended:
		return lastAnswer(answer)
	}
}

// lastAnswer handles an order that the last tick may have taken.
func lastAnswer(answer <-chan bay.Event) (bay.Event, error) {
	select {
	case e := <-answer:
		return e, nil
	default:
		return bay.Event{}, ErrEnded
	}
}

func (d *desk) put(o order.Order, answer chan bay.Event) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.waiting) >= maxOrders || d.answers[o.ID] != nil {
		return ErrBusy
	}
	if d.answers == nil {
		d.answers = map[string]chan bay.Event{}
	}
	d.waiting = append(d.waiting, o)
	d.answers[o.ID] = answer
	return nil
}

func (d *desk) forget(id string, answer chan bay.Event) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.answers[id] == answer {
		delete(d.answers, id)
	}
}

func (d *desk) take() []order.Order {
	d.mu.Lock()
	defer d.mu.Unlock()
	o := d.waiting
	d.waiting = nil
	return o
}

// tell answers the callers of this tick's orders.
func (d *desk) tell(events []bay.Event) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i := range events {
		e := events[i]
		if e.Kind != bay.OrderTaken && e.Kind != bay.OrderRefused {
			continue
		}
		if a := d.answers[e.Order]; a != nil {
			a <- e // never blocks: one answer for each order
			delete(d.answers, e.Order)
		}
	}
}
