package mqtt

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"bayward/agent/bay"
	"bayward/agent/logbook"
)

// Where a process of this test binary finds its logbook and broker when it runs as
// an agent only.
const (
	victimBook   = "BAYWARD_TEST_VICTIM_BOOK"
	victimBroker = "BAYWARD_TEST_VICTIM_BROKER"
)

// liveUntilKilled is an agent that writes events and publishes them.
func liveUntilKilled() error {
	ctx := context.Background()
	book, err := logbook.Open(ctx, os.Getenv(victimBook), quiet())
	if err != nil {
		return err
	}
	c, err := New(Options{
		Brokers: []string{os.Getenv(victimBroker)}, Topics: testTopics, Outbox: bookOutbox{book}, Log: quiet(),
		BackOff: func(int) time.Duration { return 5 * time.Millisecond },
	})
	if err != nil {
		return err
	}
	go func() { _ = c.Run(ctx) }()
	pace := time.NewTicker(5 * time.Millisecond)
	for range pace.C {
		if book.UnsentCount() > 50 {
			continue // or the writer would occupy the disk
		}
		evs := make([]bay.Event, 1+rand.IntN(8))
		for i := range evs {
			evs[i] = bay.Event{Kind: bay.ChargeFull}
		}
		name := fmt.Sprintf("bay-%d", 1+rand.IntN(3))
		if _, err := book.Append(ctx, name, logbook.Stamp{Wall: time.Now(), BootID: "b"}, evs); err != nil {
			return err
		}
		c.Wake()
	}
	return nil
}

// TestEventsThroughAgentKills kills the process of an agent (SIGKILL) at random
// moments. In the end the reader has everything in the logbook, in order.
// The full form is: go test ./mqtt -run AgentKills -soak 10000
func TestEventsThroughAgentKills(t *testing.T) {
	b := startMosquitto(t)
	path := filepath.Join(t.TempDir(), "logbook.db")
	f := follower{t: t, last: map[string]uint64{}, events: read(t, b.addr(), "bayward/+/+/+/event")}
	kills := 0
	for ; f.total() < *soak; kills++ {
		victim := exec.Command(os.Args[0])
		victim.Env = append(os.Environ(), victimBook+"="+path, victimBroker+"=tcp://"+b.addr())
		victim.Stderr = os.Stderr
		victim.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} // a failing test leaves nothing behind
		if err := victim.Start(); err != nil {
			t.Fatal(err)
		}
		for target := f.total() + 1 + rand.IntN(200); f.total() < target; {
			f.next()
		}
		if err := victim.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		if err := victim.Wait(); err == nil || victim.ProcessState.Exited() {
			t.Fatalf("the agent exited by itself: %v", err)
		}
	}
	book, err := logbook.Open(t.Context(), path, quiet())
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	stop := runClient(t, newClient(t, Options{Brokers: []string{"tcp://" + b.addr()}, Outbox: bookOutbox{book}}))
	stored := 0
	for _, name := range []string{"bay-1", "bay-2", "bay-3"} {
		events, err := book.Events(t.Context(), name, 0, 1<<20)
		if err != nil {
			t.Fatal(err)
		}
		stored += len(events)
	}
	for f.total() < stored {
		f.next()
	}
	stop()
	if f.total() != stored {
		t.Errorf("the reader has %d events, the logbook %d", f.total(), stored)
	}
	t.Logf("figure: events over %d agent kills %d, lost 0, out of order 0, repeats %d", kills, stored, f.repeats)
}
