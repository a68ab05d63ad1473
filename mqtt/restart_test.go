package mqtt

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/logbook"
)

// bookOutbox is the real record as an outbox, joined as in the program.
type bookOutbox struct{ *logbook.Book }

func (b bookOutbox) Unsent(ctx context.Context, limit int) ([]Event, error) {
	recs, err := b.Book.Unsent(ctx, limit)
	events := make([]Event, len(recs))
	for i, r := range recs {
		events[i] = Event{
			Bay: r.Bay, Epoch: r.Epoch, Seq: r.Seq, At: Wall{r.Stamp.Wall, r.Stamp.Trusted}, BootID: r.Stamp.BootID, Mono: r.Stamp.Mono,
			Kind: r.Kind, Stage: r.Stage, From: r.From, Code: r.Code, By: r.By, Order: r.Order, Text: r.Text,
		}
	}
	return events, err
}

// The full form is: go test ./mqtt -run Restarts -soak 10000
//
// TestEventsThroughAgentRestarts ends the agent at random moments and starts
// it again on its logbook. Every event arrives, in order.
func TestEventsThroughAgentRestarts(t *testing.T) {
	lives := max(12, (*soak-1000)/40)
	b := startMosquitto(t)
	path := filepath.Join(t.TempDir(), "logbook.db")
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 0))
	f := follower{t: t, last: map[string]uint64{}, events: read(t, b.addr(), "bayward/+/+/+/event")}
	written := 0
	for life := range lives {
		book, err := logbook.Open(t.Context(), path, quiet())
		if err != nil {
			t.Fatal(err)
		}
		c := newClient(t, Options{Brokers: []string{"tcp://" + b.addr()}, Outbox: bookOutbox{book}})
		stop := runClient(t, c)
		for range 1 + rnd.IntN(20) {
			evs := make([]bay.Event, 1+rnd.IntN(8))
			for i := range evs {
				evs[i] = bay.Event{Kind: bay.ChargeFull, By: fmt.Sprint(written + i)}
			}
			name := fmt.Sprintf("bay-%d", 1+rnd.IntN(3))
			if _, err := book.Append(t.Context(), name, logbook.Stamp{Wall: time.Now(), BootID: fmt.Sprint(life)}, evs); err != nil {
				t.Fatal(err)
			}
			written += len(evs)
			c.Wake()
		}
		target := written
		if life < lives-1 { // except the last: end in the middle
			target = f.total() + rnd.IntN(written-f.total()+1)
		}
		for f.total() < target {
			f.next()
		}
		stop()
		if err := book.Close(); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("figure: events over %d restarts of the agent %d, lost 0, out of order 0, repeats %d", lives, f.total(), f.repeats)
}
