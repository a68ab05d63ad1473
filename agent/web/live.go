package web

import (
	"context"
	"fmt"
	"net/http"
	"sync/atomic"
	"time"
)

const (
	maxReaders = 64
	// lookEvery is how often a reader is told that a picture is new.
	lookEvery = 2 * time.Second
	// liveFor bounds one stream; the browser opens the next by itself.
	liveFor = 10 * time.Minute
)

// readers counts the open streams.
type readers struct{ n atomic.Int64 }

// stoppingKey finds the channel that closes when the listener stops.
type stoppingKey struct{}

func withStopping(ctx context.Context, stopping <-chan struct{}) context.Context {
	return context.WithValue(ctx, stoppingKey{}, stopping)
}

// live is a stream of server-sent events: one whenever a picture has changed.
// The page then fetches itself again, so all that it shows is made in one place.
// A reader that takes no byte for a while is dropped.
func (s *server) live(w http.ResponseWriter, r *http.Request) {
	if s.readers.n.Add(1) > maxReaders {
		s.readers.n.Add(-1)
		writeProblem(w, *failed(http.StatusServiceUnavailable, "too-many-readers", "too many pages are open; close some"))
		return
	}
	defer s.readers.n.Add(-1)
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("X-Accel-Buffering", "no") // proxies must not hold events back
	out := http.NewResponseController(w)
	stopping, _ := r.Context().Value(stoppingKey{}).(<-chan struct{}) // nil never closes
	end := time.NewTimer(liveFor)
	defer end.Stop()
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for n := s.newest(); ; {
		_ = out.SetWriteDeadline(time.Now().Add(3 * lookEvery)) // a writer without deadlines is a test's
		if _, err := fmt.Fprintf(w, "event: picture\ndata: %d\n\n", n); err != nil || out.Flush() != nil {
			return
		}
		select {
		case <-tick.C:
		case <-end.C:
			return
		case <-stopping:
			return
		case <-r.Context().Done():
			return
		}
		n = s.newest()
	}
}

// newest is the time of the newest picture, in whole seconds.
func (s *server) newest() int64 {
	newest := int64(0)
	for _, p := range s.Pictures() {
		if p != nil {
			newest = max(newest, int64(p.Now.Seconds()))
		}
	}
	return newest
}
