package loop

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"testing/synctest"

	"bayward/agent/bay"
	"bayward/agent/order"
)

func hold(id string) order.Order { return order.Order{ID: id, By: "Ann", Kind: order.Hold} }

// asked is the outcome of an order.
type asked struct {
	event bay.Event
	err   error
}

// ask submits an order in the background.
func (r *rig) ask(ctx context.Context, o order.Order) <-chan asked {
	c := make(chan asked, 1)
	go func() {
		e, err := r.Submit(ctx, "bay-1", o)
		c <- asked{e, err}
	}()
	synctest.Wait()
	return c
}

func TestOrders(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 1, nil)
		taken, nameless := r.ask(t.Context(), hold("1")), r.ask(t.Context(), order.Order{ID: "2", Kind: order.Hold})
		if _, err := r.Submit(t.Context(), "bay-9", hold("1")); !errors.Is(err, ErrNoBay) || !strings.Contains(err.Error(), "bay-9") {
			t.Errorf("unknown bay: %v", err)
		}
		r.ticks(1)
		if got := <-taken; got.err != nil || got.event.Kind != bay.OrderTaken || got.event.Order != "1" || got.event.By != "Ann" {
			t.Errorf("hold: %+v", got)
		}
		if got := <-nameless; got.err != nil || got.event.Kind != bay.OrderRefused || got.event.Why.Code != order.NoPerson {
			t.Errorf("nameless: %+v", got)
		}
		again := r.ask(t.Context(), hold("1"))
		r.ticks(1)
		if got := <-again; got.err != nil || got.event.Kind != bay.OrderRefused || got.event.Why.Code != order.Repeated {
			t.Errorf("the same ID again: %+v", got)
		}
		release := r.ask(t.Context(), order.Order{ID: "", By: "Ann", Kind: order.Unhold})
		r.ticks(1)
		if got := <-release; got.err != nil || got.event.Kind != bay.OrderRefused || !r.bays[0].Core.Memory().Held {
			t.Errorf("no ID: %+v", got)
		}
	})
}

// TestOrdersAreBounded: an order that does not fit is rejected at once, and there
// is room again after the next tick.
func TestOrdersAreBounded(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 1, nil)
		var all sync.WaitGroup
		for i := range maxOrders {
			all.Go(func() {
				if e, err := r.Submit(t.Context(), "bay-1", hold(fmt.Sprint(i))); err != nil || e.Kind != bay.OrderTaken {
					t.Errorf("order %d: %v %v", i, e, err)
				}
			})
		}
		synctest.Wait()
		if _, err := r.Submit(t.Context(), "bay-1", hold("one too many")); !errors.Is(err, ErrBusy) {
			t.Errorf("got %v", err)
		}
		r.ticks(1)
		all.Wait()
		last := r.ask(t.Context(), hold("room again"))
		r.ticks(1)
		if got := <-last; got.err != nil {
			t.Error(got.err)
		}
	})
}

// TestOrderForgotten: a caller who stops waiting leaves nothing behind; the order
// itself remains. A repeat with the same ID, which a device sends when it got no
// answer, gets the answer of the first.
func TestOrderForgotten(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 1, nil)
		ctx, cancel := context.WithCancel(t.Context())
		first := r.ask(ctx, hold("1"))
		if _, err := r.Submit(t.Context(), "bay-1", hold("1")); !errors.Is(err, ErrBusy) {
			t.Errorf("the same ID while one is waiting: %v", err)
		}
		cancel()
		if got := <-first; !errors.Is(got.err, context.Canceled) {
			t.Errorf("given up: %+v", got)
		}
		if n := len(r.bays[0].orders.answers); n != 0 {
			t.Errorf("%d answers without a caller", n)
		}
		repeat := r.ask(t.Context(), hold("1"))
		r.ticks(1)
		if got := <-repeat; got.err != nil || got.event.Kind != bay.OrderTaken {
			t.Errorf("repeated: %+v", got)
		}
		if n := len(r.bays[0].orders.answers); n != 0 || !r.bays[0].Core.Memory().Held {
			t.Errorf("%d answers wait, held %v", n, r.bays[0].Core.Memory().Held)
		}
	})
}

// TestOrderAfterTheEnd does not wait for a tick that never comes.
func TestOrderAfterTheEnd(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 1, nil)
		r.ticks(1)
		waits := r.ask(t.Context(), hold("1"))
		if err := r.Stop(0); err != nil {
			t.Fatal(err)
		}
		if got := <-waits; !errors.Is(got.err, ErrEnded) {
			t.Errorf("while it ends: %+v", got)
		}
		if _, err := r.Submit(t.Context(), "bay-1", hold("2")); !errors.Is(err, ErrEnded) {
			t.Errorf("after the end: %v", err)
		}
	})
}

// TestOrdersFromEverywhere: many callers at once, with ticks between; each gets the
// answer to its own order. For the race detector.
func TestOrdersFromEverywhere(t *testing.T) {
	bubble(t, func(t *testing.T) {
		r := newRig(t, 2, nil)
		end := r.running()
		var all sync.WaitGroup
		for i := range 16 {
			all.Go(func() {
				for k := range 20 {
					id, name := fmt.Sprintf("%d-%d", i, k), fmt.Sprintf("bay-%d", i%2+1)
					if e, err := r.Submit(t.Context(), name, hold(id)); err != nil || e.Order != id {
						t.Errorf("%s at %s: %+v %v", id, name, e, err)
					}
				}
			})
		}
		all.Wait()
		if err := end(); err != nil {
			t.Error(err)
		}
	})
}
