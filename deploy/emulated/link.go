package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"slices"
	"sync"

	"bayward/deploy/emulated/control"
)

// guest is the bench's end of the control connection, over all boots.
type guest struct {
	mu      sync.Mutex // guards the fields below
	conn    net.Conn
	nextID  int
	events  []control.Event
	changed chan struct{} // closed at the next event
}

func newGuest() *guest { return &guest{changed: make(chan struct{})} }

// follow reads the events of one boot of the guest.
func (g *guest) follow(c net.Conn) {
	g.mu.Lock()
	g.conn = c
	g.mu.Unlock()
	for d := json.NewDecoder(c); ; {
		var e control.Event
		if d.Decode(&e) != nil {
			return
		}
		g.take(e)
	}
}

func (g *guest) take(e control.Event) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.events = append(g.events, e)
	close(g.changed)
	g.changed = make(chan struct{})
}

// mark returns the place of the next event, to wait for later ones.
func (g *guest) mark() int {
	g.mu.Lock()
	defer g.mu.Unlock()
	return len(g.events)
}

// find returns the first matching event since a mark. If the init cannot continue,
// find returns an error.
func (g *guest) find(ctx context.Context, mark int, fits func(*control.Event) bool) (control.Event, error) {
	for {
		g.mu.Lock()
		later, changed := g.events[mark:], g.changed
		at := slices.IndexFunc(later, func(e control.Event) bool { return fits(&e) || e.Kind == control.Trouble })
		var e control.Event
		if at >= 0 {
			e = later[at]
		}
		g.mu.Unlock()
		switch {
		case at >= 0 && e.Kind == control.Trouble:
			return e, fmt.Errorf("the guest: %s", e.Error)
		case at >= 0:
			return e, nil
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return control.Event{}, ctx.Err()
		}
	}
}

// await returns the first event of a kind and unit since a mark.
func (g *guest) await(ctx context.Context, unit control.Unit, kind control.Kind, mark int) (control.Event, error) {
	e, err := g.find(ctx, mark, func(e *control.Event) bool { return e.Kind == kind && e.Unit == unit })
	if err != nil {
		return e, fmt.Errorf("wait for %q of the guest: %w", kind, err)
	}
	return e, nil
}

// order sends an order and waits for the reply.
func (g *guest) order(ctx context.Context, o control.Order) (control.Event, error) {
	g.mu.Lock()
	g.nextID++
	o.ID = g.nextID
	mark, conn := len(g.events), g.conn
	g.mu.Unlock()
	if conn == nil {
		return control.Event{}, errors.New("the guest has not connected yet")
	}
	if err := json.NewEncoder(conn).Encode(o); err != nil {
		return control.Event{}, fmt.Errorf("order %s: %w", o.Do, err)
	}
	e, err := g.find(ctx, mark, func(e *control.Event) bool { return e.Kind == control.Reply && e.ID == o.ID })
	if err == nil && e.Error != "" {
		err = errors.New(e.Error)
	}
	if err != nil {
		return e, fmt.Errorf("order %s: %w", o.Do, err)
	}
	return e, nil
}
