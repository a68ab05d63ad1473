package bay_test

import (
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
)

// hasp is what a row of padlocks on one hasp would do, by an independent model:
// everybody has their own lock, only its owner takes it off, somebody else's is cut
// off only with a reason and after a look at the pack, and after the last one there
// is time to step back. A visit also stays open until somebody closes it.
type hasp struct {
	locks map[string]bool // "hold NAME" and "visit NAME"
	open  bool            // the visit
	free  bool            // the last lock has come off
	at    time.Duration   // when it did
}

// turn follows an order that was taken.
func (h *hasp) turn(o *order.Order, now time.Duration) {
	if h.locks == nil {
		h.locks = map[string]bool{}
	}
	inForce := h.inForce()
	switch o.Kind {
	case order.Hold:
		h.locks["hold "+o.By] = true
	case order.Unhold:
		delete(h.locks, "hold "+o.By)
	case order.VisitOpen, order.VisitJoin:
		h.open = true
		h.locks["visit "+o.By] = true
	case order.VisitLeave:
		delete(h.locks, "visit "+o.By)
	case order.VisitClose:
		h.open = false
		delete(h.locks, "visit "+o.By)
	case order.LockRemove:
		if o.NobodyAtPack && o.Reason != "" {
			delete(h.locks, o.Lock+" "+o.Of)
		}
	default:
	}
	if inForce && !h.inForce() {
		h.free, h.at = true, now
	}
}

// of reports whether anybody has a lock of a kind.
func (h *hasp) of(kind string) bool {
	for lock := range h.locks {
		if strings.HasPrefix(lock, kind+" ") {
			return true
		}
	}
	return false
}

func (h *hasp) held() bool { return h.of("hold") }

func (h *hasp) visited() bool { return h.open || h.of("visit") }

func (h *hasp) inForce() bool { return h.held() || h.visited() }

// waits reports whether people must still be given time to step back.
func (h *hasp) waits(now, delay time.Duration) bool {
	return h.free && !h.inForce() && now-h.at < delay
}

// damaged adopts the locks of a memory of which nobody knows what it said.
func (h *hasp) damaged(m *bay.Memory) {
	*h = hasp{locks: map[string]bool{}}
	for _, l := range m.Holds {
		h.locks["hold "+l.By] = true
	}
	if m.Visit == nil {
		return
	}
	h.open = true
	for _, l := range *m.Visit.People {
		h.locks["visit "+l.By] = true
	}
}
