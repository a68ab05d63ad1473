package logbook

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"log/slog"
	"os"
	"testing"
	"time"

	"go.uber.org/goleak"
	"golang.org/x/sys/unix"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// TestMain runs the test binary as a writer that waits to be killed, or as another
// user's reader, when a test started it as one.
func TestMain(m *testing.M) {
	if path := os.Getenv("LOGBOOK_TEST_READER"); path != "" {
		if err := readAsStranger(context.Background(), path); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	if path := os.Getenv("LOGBOOK_TEST_WRITER"); path != "" {
		fmt.Fprintln(os.Stderr, writeUntilKilled(path))
		os.Exit(1)
	}
	// Each step of a random sequence waits for the disk. The command line may set
	// more: -rapid.checks=1000.
	if err := flag.Set("rapid.checks", "25"); err != nil {
		panic(err)
	}
	goleak.VerifyTestMain(m)
}

// writeUntilKilled appends forever and prints each acknowledged number, so that the
// reader knows what must be there.
func writeUntilKilled(path string) error {
	ctx := context.Background()
	b, err := Open(ctx, path, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	out := bufio.NewWriter(os.Stdout)
	for n := 0; ; n++ {
		seqs, err := b.Append(ctx, "bay-1", stampAt(n), someEvents(1+n%3))
		if err != nil {
			return err
		}
		last := seqs[len(seqs)-1]
		if err := b.SaveMemory(ctx, "bay-1", stampAt(n), fmt.Append(nil, last)); err != nil {
			return err
		}
		fmt.Fprintln(out, last)
		if err := out.Flush(); err != nil {
			return err
		}
	}
}

func stampAt(n int) Stamp {
	return Stamp{
		Wall: time.Date(2026, 3, 1, 6, 0, n, 123e6, time.UTC), Trusted: n%2 == 0,
		BootID: "5f0c3b1e", Mono: time.Duration(n) * time.Second,
	}
}

func someEvents(n int) []bay.Event {
	all := []bay.Event{
		{Kind: bay.FindingRaised, Code: interlock.PlatesBare, Evidence: interlock.Evidence{Value: -2, Limit: 3, Fault: reading.None}},
		{Kind: bay.StageChanged, From: bay.Waiting, Stage: bay.Charging},
		{Kind: bay.OrderTaken, By: `O'Neil, "Zoë" 张`, Order: "a\nb", Asked: order.Order{Kind: order.Hold, Note: "Hold; it's 5 % — ok"}},
	}
	var out []bay.Event
	for i := range n {
		out = append(out, all[i%len(all)])
	}
	return out
}

// inMemory returns a folder for files that need not outlive the machine: what holds
// there after a kill, a restart or a change by hand holds on a disk, and a sync
// costs nothing. Where memory is short it is on the disk.
func inMemory(t *testing.T) string {
	t.Helper()
	const shm, enough = "/dev/shm", 512 << 20
	var free unix.Statfs_t
	if err := unix.Statfs(shm, &free); err != nil || free.Bavail*uint64(free.Bsize) < enough {
		return t.TempDir()
	}
	dir, err := os.MkdirTemp(shm, "logbook-test-") //nolint:usetesting // not where the others go
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

func openBook(t *testing.T, path string) *Book {
	t.Helper()
	b, err := Open(t.Context(), path, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

func closeBook(t *testing.T, b *Book) {
	t.Helper()
	if err := b.Close(); err != nil {
		t.Fatalf("close: %v", err)
	}
}

// mustCount checks that the events of a bay are 1 to n without a gap.
func mustCount(t *testing.T, b *Book, bayName string, n int) {
	t.Helper()
	recs, err := b.Events(t.Context(), bayName, 0, 1<<30)
	if err != nil {
		t.Fatal(err)
	}
	if len(recs) != n {
		t.Errorf("%s has %d events, want %d", bayName, len(recs), n)
	}
	for i, r := range recs {
		if r.Seq != uint64(i+1) {
			t.Fatalf("%s: event %d has number %d", bayName, i+1, r.Seq)
		}
	}
}
