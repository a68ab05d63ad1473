package web

import "sync"

// keptIDs is how many form orders are remembered as done.
const keptIDs = 256

// recent remembers the orders that were accepted from forms. The core refuses a
// repeated ID as well, but a browser that goes back and sends a form again should
// report it as done instead of refused. A paper sheet makes up to 96 orders from one
// form, more than the core remembers.
type recent struct {
	mu   sync.Mutex // guards what follows
	ids  [keptIDs]string
	next int
}

func (r *recent) has(id string) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, have := range r.ids {
		if have == id && id != "" {
			return true
		}
	}
	return false
}

func (r *recent) add(id string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.ids[r.next] = id
	r.next = (r.next + 1) % keptIDs
}
