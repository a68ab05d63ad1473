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
	// lookEvery is how often a stream checks for a new picture.
	lookEvery = 2 * time.Second
	// liveFor bounds one stream; the browser then reconnects by itself.
	liveFor = 10 * time.Minute
)

// readers counts the open streams.
type readers struct{ n atomic.Int64 }

// stoppingKey finds the channel that closes when the listener stops.
type stoppingKey struct{}

func withStopping(ctx context.Context, stopping <-chan struct{}) context.Context {
	return context.WithValue(ctx, stoppingKey{}, stopping)
}

// live streams server-sent events, one for each changed picture. The page then
// fetches itself again, so its content is rendered in one place only. A reader that
// accepts no data for a while is dropped.
func (s *server) live(w http.ResponseWriter, r *http.Request) {
	if s.readers.n.Add(1) > maxReaders {
		s.readers.n.Add(-1)
		writeProblem(w, *failed(http.StatusServiceUnavailable, "too-many-readers", "too many pages are open; close some"))
		return
	}
	defer s.readers.n.Add(-1)
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("X-Accel-Buffering", "no") // proxies must not buffer events
	out := http.NewResponseController(w)
	stopping, _ := r.Context().Value(stoppingKey{}).(<-chan struct{}) // a nil channel never closes
	end := time.NewTimer(liveFor)
	defer end.Stop()
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for n := s.newest(); ; {
		_ = out.SetWriteDeadline(time.Now().Add(3 * lookEvery)) // only a test's writer has no deadlines
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

// newest returns the time of the newest picture, in whole seconds.
func (s *server) newest() int64 {
	newest := int64(0)
	for _, p := range s.Pictures() {
		if p != nil {
			newest = max(newest, int64(p.Now.Seconds()))
		}
	}
	return newest
}
