package web

import "sync"

// keptIDs is how many orders of forms are remembered as done.
const keptIDs = 256

// recent remembers the orders that were taken from forms. The core refuses a
// repeated ID as well; this only spares its person the refusal: a browser that goes
// back and sends a form again is done, not wrong. A sheet of paper is up to 96
// orders of one form, more than the core remembers.
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
