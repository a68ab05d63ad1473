package mqtt

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
)

var update = flag.Bool("update", false, "write the golden files")

func TestMain(m *testing.M) {
	if os.Getenv(victimBook) != "" {
		fmt.Fprintln(os.Stderr, liveUntilKilled())
		os.Exit(1)
	}
	hookLibrary() // some tests dial without New
	goleak.VerifyTestMain(m)
}

var testTopics = Topics{Site: "quarry-road", Agent: "shed-2"}

func testWall() Wall {
	return Wall{Time: time.Date(2026, 3, 1, 6, 7, 8, 90e6, time.FixedZone("", 3600)), Trusted: true}
}

// memoryOutbox is an outbox without a disk.
type memoryOutbox struct {
	mu    sync.Mutex // guards the fields below
	err   error
	all   map[string][]Event
	sent  map[string]uint64
	looks int
	moved chan struct{} // one signal for moves of a cursor
}

func newOutbox() *memoryOutbox {
	return &memoryOutbox{all: map[string][]Event{}, sent: map[string]uint64{}, moved: make(chan struct{}, 1)}
}

func (o *memoryOutbox) add(bayName string, n int) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for range n {
		seq := uint64(len(o.all[bayName]) + 1)
		o.all[bayName] = append(o.all[bayName], Event{
			Bay: bayName, Epoch: "7d0f3a52c4e1b896", Seq: seq, At: testWall(), BootID: "b", Kind: "finding-raised", Code: "pack-hot", Text: "Hot.",
		})
	}
}

func (o *memoryOutbox) Unsent(_ context.Context, limit int) ([]Event, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.looks++
	if o.err != nil {
		return nil, o.err
	}
	var out []Event
	for _, name := range []string{"bay-1", "bay-2", "bay-3"} {
		out = append(out, o.all[name][o.sent[name]:]...)
	}
	return slices.Clone(out[:min(limit, len(out))]), nil
}

// looked returns how often the outbox was queried.
func (o *memoryOutbox) looked() int {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.looks
}

func (o *memoryOutbox) Sent(_ context.Context, bayName string, seq uint64) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.err != nil {
		return o.err
	}
	o.sent[bayName] = max(o.sent[bayName], seq)
	select {
	case o.moved <- struct{}{}:
	default:
	}
	return nil
}

func (o *memoryOutbox) fail(err error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.err = err
}

func (o *memoryOutbox) cursor(bayName string) uint64 {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.sent[bayName]
}

// awaitCursor waits until the client has marked a number as sent.
func (o *memoryOutbox) awaitCursor(bayName string, seq uint64) {
	for o.cursor(bayName) < seq {
		<-o.moved
	}
}

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

// runClient runs a client until the test ends or stop is called.
func runClient(t *testing.T, c *Client) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- c.Run(ctx) }()
	stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
	})
	t.Cleanup(stop)
	return stop
}

func newClient(t *testing.T, o Options) *Client {
	t.Helper()
	o.Topics, o.Version, o.BootID, o.Now = testTopics, "1.2.3", "5f0c3b1e", testWall
	if o.Log == nil {
		o.Log = quiet()
	}
	if len(o.Brokers) == 0 {
		o.Brokers = []string{"tcp://127.0.0.1:1"}
	}
	if o.BackOff == nil {
		o.BackOff = func(n int) time.Duration { return min(20*time.Millisecond, time.Millisecond<<min(n, 8)) }
	}
	c, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	// The library blocks a publication for this long after a loss; the blocked
	// goroutine must be gone when the test ends.
	c.writeWithin = time.Second
	return c
}
