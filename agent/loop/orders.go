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

// orderQueue accepts orders from any goroutine and hands them to the ticks.
type orderQueue struct {
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
	if err := b.orders.put(o, answer); err != nil {
		return bay.Event{}, err
	}
	defer b.orders.forget(o.ID, answer)
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

func (q *orderQueue) put(o order.Order, answer chan bay.Event) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.waiting) >= maxOrders || q.answers[o.ID] != nil {
		return ErrBusy
	}
	if q.answers == nil {
		q.answers = map[string]chan bay.Event{}
	}
	q.waiting = append(q.waiting, o)
	q.answers[o.ID] = answer
	return nil
}

func (q *orderQueue) forget(id string, answer chan bay.Event) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.answers[id] == answer {
		delete(q.answers, id)
	}
}

func (q *orderQueue) take() []order.Order {
	q.mu.Lock()
	defer q.mu.Unlock()
	o := q.waiting
	q.waiting = nil
	return o
}

// tell answers the callers of this tick's orders.
func (q *orderQueue) tell(events []bay.Event) {
	q.mu.Lock()
	defer q.mu.Unlock()
	for i := range events {
		e := events[i]
		if e.Kind != bay.OrderTaken && e.Kind != bay.OrderRefused {
			continue
		}
		if a := q.answers[e.Order]; a != nil {
			a <- e // never blocks: one answer for each order
			delete(q.answers, e.Order)
		}
	}
}
