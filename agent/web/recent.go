package web

import (
	"slices"
	"sync"
)

// keptIDs is how many form orders are remembered as done.
const keptIDs = 256

// recent remembers the orders that were accepted from forms. The core refuses a
// repeated ID as well, but a browser that goes back and sends a form again should
// report it as done instead of refused. A paper sheet makes up to 96 orders from one
// form, more than the core remembers.
type recent struct {
	mu   sync.Mutex // guards what follows
	kept [keptIDs]accepted
	next int
}

// accepted is an order that was in force when it was answered.
type accepted struct {
	id       string
	onRecord bool // and was on record as well
}

// has reports whether an order was accepted.
func (r *recent) has(id string) bool {
	return r.any(func(a accepted) bool { return a.id == id && id != "" })
}

// done reports whether an order was accepted and on record.
func (r *recent) done(id string) bool {
	return r.any(func(a accepted) bool { return a.id == id && id != "" && a.onRecord })
}

func (r *recent) any(is func(accepted) bool) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return slices.ContainsFunc(r.kept[:], is)
}

func (r *recent) add(id string, onRecord bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.kept[r.next] = accepted{id, onRecord}
	r.next = (r.next + 1) % keptIDs
}
