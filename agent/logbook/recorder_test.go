package logbook

import (
	"context"
	"errors"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
)

// fakeDisk keeps entries, fails while it has an error, and hangs while hang is set.
type fakeDisk struct {
	hang  chan struct{}
	mu    sync.Mutex // guards all fields below
	err   error
	kept  []Entry
	calls int
}

func (d *fakeDisk) Write(_ context.Context, entries ...Entry) error {
	if d.hang != nil {
		<-d.hang
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.calls++
	if d.err == nil {
		d.kept = append(d.kept, entries...)
	}
	return d.err
}

// repair makes the disk work again.
func (d *fakeDisk) repair() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.err = nil
}

func (d *fakeDisk) tries() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.calls
}

// texts returns the texts of the kept events in order.
func (d *fakeDisk) texts() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	var out []string
	for _, e := range d.kept {
		for _, ev := range e.Events {
			out = append(out, ev.By)
		}
		if e.Memory != nil {
			out = append(out, "m:"+string(e.Memory))
		}
	}
	return strings.Join(out, " ")
}

func told(texts ...string) []bay.Event {
	var evs []bay.Event
	for _, s := range texts {
		evs = append(evs, bay.Event{Kind: bay.ChargeFull, By: s})
	}
	return evs
}

// newRecorder must run in a bubble: its waits are the bubble's fake time.
func newRecorder(t *testing.T, d Store, opt RecorderOptions) *Recorder {
	t.Helper()
	return NewRecorder(d, opt, quiet())
}

func TestRecorderWritesEventsAtOnceAndMemorySeldom(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &fakeDisk{}
		r := newRecorder(t, d, RecorderOptions{Every: 59500 * time.Millisecond})
		for n := range 121 { // two minutes of ticks, one event in the 90th
			var evs []bay.Event
			if n == 90 {
				evs = told("full")
			}
			r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(n), Events: evs, Memory: []byte(itoa(n))})
			synctest.Wait() // until the writer has taken what is due
			time.Sleep(time.Second)
		}
		if got, want := d.texts(), "m:0 m:59 full m:90"; got != want {
			t.Errorf("written %q, want %q", got, want)
		}
		if err := r.Close(t.Context()); err != nil {
			t.Error(err)
		}
		if got, want := d.texts(), "m:0 m:59 full m:90 m:120"; got != want {
			t.Errorf("written %q, want %q", got, want)
		}
	})
}

func TestRecorderKeepsOrderThroughFailure(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &fakeDisk{err: errors.New("disk full")}
		r := newRecorder(t, d, RecorderOptions{})
		start := time.Now()
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(0), Events: told("a", "b"), Memory: []byte("1")})
		synctest.Wait() // for the first failure
		if !r.Failing() || r.Waiting() != 2 {
			t.Errorf("failing %v, waiting %d; want true, 2", r.Failing(), r.Waiting())
		}
		r.Offer(Entry{Bay: "bay-2", Stamp: stampAt(1), Events: told("c"), Memory: nil})
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(2), Events: told("d"), Memory: []byte("2")})
		time.Sleep(5 * time.Minute)
		// Doubling from 1 s to 60 s: tries at 0, 1, 3, 7, 15, 31, 63, 123, 183,
		// 243 s.
		if d.tries() != 10 {
			t.Errorf("%d tries in %v, want 10", d.tries(), time.Since(start))
		}
		d.repair()
		time.Sleep(time.Minute)
		synctest.Wait()
		if got, want := d.texts(), "a b c d m:2"; got != want {
			t.Errorf("written %q, want %q", got, want)
		}
		if r.Failing() || r.Dropped() != 0 || r.Waiting() != 0 {
			t.Errorf("failing %v, dropped %d, waiting %d after recovery", r.Failing(), r.Dropped(), r.Waiting())
		}
		select {
		case <-r.Stored():
		default:
			t.Error("no signal for stored events")
		}
		if err := r.Close(t.Context()); err != nil {
			t.Error(err)
		}
	})
}

// taken is the event of an order.
func taken(id string) []bay.Event { return []bay.Event{{Kind: bay.OrderTaken, Order: id}} }

// isClosed reports whether an order is stored, once nothing moves any more.
func isClosed(c <-chan struct{}) bool {
	synctest.Wait()
	select {
	case <-c:
		return true
	default:
		return false
	}
}

// TestAwait: whoever gave an order learns that it is stored when it is, and not
// before: not from a refusal, nor from the same order in another bay, nor while the
// disk fails or the witness has not seen it.
func TestAwait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &fakeDisk{err: errors.New("full")}
		var seen atomic.Bool
		r := newRecorder(t, d, RecorderOptions{Witness: func([]Entry) error {
			if !seen.Load() {
				return errors.New("not seen")
			}
			return nil
		}})
		first, forget := r.Await("bay-1", "a")
		second, _ := r.Await("bay-1", "a")
		other, _ := r.Await("bay-2", "a")
		gone, leave := r.Await("bay-1", "b")
		leave()
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(0), Events: []bay.Event{{Kind: bay.OrderRefused, Order: "a"}}})
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(1), Events: append(taken("a"), taken("b")...)})
		require.False(t, isClosed(first))
		require.True(t, r.Late())
		d.repair()
		time.Sleep(time.Minute)
		require.Positive(t, d.tries())
		require.False(t, isClosed(first), "the witness has not seen it")
		seen.Store(true)
		time.Sleep(time.Minute)
		require.True(t, isClosed(first))
		require.True(t, isClosed(second))
		require.False(t, isClosed(other))
		require.False(t, isClosed(gone), "nobody waits")
		require.False(t, r.Late())
		forget()
		require.NoError(t, r.Close(t.Context()))
		require.Len(t, r.waiters, 1, "whoever waits for another bay still does")
	})
}

// TestLate: a write that takes longer than it should makes the recorder late, long
// before it counts as failing.
func TestLate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &fakeDisk{hang: make(chan struct{})}
		r := newRecorder(t, d, RecorderOptions{})
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(0), Events: told("a")})
		time.Sleep(700 * time.Millisecond)
		require.False(t, r.Late())
		time.Sleep(200 * time.Millisecond)
		require.True(t, r.Late())
		require.False(t, r.Failing())
		close(d.hang)
		synctest.Wait()
		require.False(t, r.Late())
		require.NoError(t, r.Close(t.Context()))
	})
}

func TestRecorderDropsOldestAndCounts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &fakeDisk{err: errors.New("disk full")}
		r := newRecorder(t, d, RecorderOptions{MaxEvents: 3})
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(0), Events: told("a", "b"), Memory: nil})
		synctest.Wait()
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(1), Events: told("c", "d"), Memory: nil})
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(2), Events: told("e"), Memory: nil})
		if r.Dropped() != 2 || r.Waiting() != 3 {
			t.Errorf("dropped %d, waiting %d; want 2, 3", r.Dropped(), r.Waiting())
		}
		d.repair()
		if err := r.Close(t.Context()); err != nil || d.texts() != "c d e" {
			t.Errorf("written %q, %v", d.texts(), err)
		}
	})
}

// Nothing of a running write is dropped: it may be on the disk.
func TestRecorderBoundWhileWriting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &fakeDisk{hang: make(chan struct{})}
		r := newRecorder(t, d, RecorderOptions{MaxEvents: 2})
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(0), Events: told("a", "b"), Memory: nil})
		synctest.Wait() // for the write to hang
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(1), Events: told("c", "d", "e"), Memory: nil})
		close(d.hang)
		if err := r.Close(t.Context()); err != nil || d.texts() != "a b d e" || r.Dropped() != 1 {
			t.Errorf("written %q, dropped %d, %v", d.texts(), r.Dropped(), err)
		}
	})
}

func TestRecorderWithHangingDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &fakeDisk{hang: make(chan struct{})}
		r := newRecorder(t, d, RecorderOptions{})
		start := time.Now()
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(0), Events: told("a"), Memory: nil})
		synctest.Wait() // for the write to hang
		for n := range 20_000 {
			r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(n), Events: told("x"), Memory: []byte("m")})
		}
		if time.Since(start) != 0 {
			t.Errorf("offers waited %v for a disk that hangs", time.Since(start))
		}
		if r.Failing() {
			t.Error("failing before the write has taken long")
		}
		time.Sleep(11 * time.Second)
		if !r.Failing() {
			t.Error("a hanging write is not detected")
		}
		ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
		defer cancel()
		start = time.Now()
		if err := r.Close(ctx); err == nil || !strings.Contains(err.Error(), "10001 events") {
			t.Errorf("close returned %v, want the number of events", err)
		}
		if took := time.Since(start); took > 3*time.Second {
			t.Errorf("close took %v", took)
		}
		close(d.hang)
		<-r.done
	})
}

func TestRecorderCloseUsesItsTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &fakeDisk{err: errors.New("disk full")}
		r := newRecorder(t, d, RecorderOptions{})
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(0), Events: told("a"), Memory: nil})
		time.Sleep(time.Hour)
		time.AfterFunc(time.Second, d.repair)
		ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
		defer cancel()
		if err := r.Close(ctx); err != nil || d.texts() != "a" {
			t.Errorf("written %q, %v", d.texts(), err)
		}
	})
}

// TestRecorderCloseTakesTheNewest: a memory offered just before the end, while the
// recorder looks for work after its last, is stored. Which comes first is up to the
// scheduler, so it is tried often.
func TestRecorderCloseTakesTheNewest(t *testing.T) {
	for n := range 2000 {
		d := &fakeDisk{}
		r := newRecorder(t, d, RecorderOptions{})
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(0), Events: told("a")})
		<-r.Stored()
		for range n % 100 {
			runtime.Gosched()
		}
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(1), Memory: []byte("newest")})
		if err := r.Close(t.Context()); err != nil {
			t.Fatalf("round %d: %v", n, err)
		}
	}
}

// TestRecorderOnBook is the real pair, without a bubble.
func TestRecorderOnBook(t *testing.T) {
	b := openBook(t, filepath.Join(t.TempDir(), "l.db"))
	r := NewRecorder(b, RecorderOptions{}, quiet())
	for n := range 500 {
		r.Offer(Entry{Bay: "bay-" + itoa(n%3), Stamp: stampAt(n), Events: told(itoa(n)), Memory: []byte(itoa(n))})
	}
	<-r.Stored()
	if err := r.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := b.UnsentCount(); n != 500 {
		t.Errorf("%d events stored, want 500", n)
	}
	recs, err := b.Events(t.Context(), "bay-1", 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range recs {
		if r.By != itoa(3*i+1) {
			t.Fatalf("event %d of bay-1 is %q, want %d", i+1, r.By, 3*i+1)
		}
	}
	if m, err := b.LoadMemory(t.Context(), "bay-1"); err != nil || m == nil || string(m.State) != "499" {
		t.Errorf("memory %+v, %v; want the newest", m, err)
	}
}

// TestRecorderKeepsAPackThatHasMovedOn: the memory of a pack that its last bay
// handed over is written before that bay's memory without it, and is not lost when
// the pack is in another bay, or another pack in this one, before the disk works
// again.
func TestRecorderKeepsAPackThatHasMovedOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &fakeDisk{err: errors.New("full")}
		r := newRecorder(t, d, RecorderOptions{})
		r.Offer(Entry{Bay: "bay-1", Pack: "a", PackMemory: []byte("a1")})
		r.Offer(Entry{Bay: "bay-1", Events: told("left"), Memory: []byte("empty")})
		synctest.Wait()
		r.Offer(Entry{Bay: "bay-1", Pack: "b", PackMemory: []byte("b1")})
		r.Offer(Entry{Bay: "bay-2", Pack: "a", PackMemory: []byte("a2")})
		r.Offer(Entry{Bay: "bay-1", Pack: "c", Memory: []byte("c")})
		d.repair()
		time.Sleep(time.Minute)
		synctest.Wait()
		packs, memoryAt := map[string]string{}, -1
		for i, e := range d.kept {
			if e.PackMemory != nil {
				packs[e.Pack] = string(e.PackMemory)
				if memoryAt >= 0 {
					t.Errorf("the memory of a bay came before that of pack %s", e.Pack)
				}
			}
			if e.Memory != nil {
				memoryAt = i
			}
		}
		if len(packs) != 2 || packs["a"] != "a2" || packs["b"] != "b1" {
			t.Errorf("kept %v", packs)
		}
		if got := d.texts(); got != "left m:c" {
			t.Errorf("kept %q", got)
		}
		if err := r.Close(t.Context()); err != nil {
			t.Error(err)
		}
	})
}

// TestRecorderWaitsForItsWitness: what is stored counts once the witness has it,
// once, and in order; until then the record is failing.
func TestRecorderWaitsForItsWitness(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d, seen := &fakeDisk{}, ""
		var bad atomic.Bool // the recorder's goroutine reads it
		bad.Store(true)
		r := newRecorder(t, d, RecorderOptions{Witness: func(batch []Entry) error {
			if bad.Load() {
				return errors.New("disk full")
			}
			for _, e := range batch {
				if e.Memory != nil {
					seen += string(e.Memory)
				}
			}
			return nil
		}})
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(0), Events: told("a"), Memory: []byte("1")})
		synctest.Wait()
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(1), Events: told("b"), Memory: []byte("2")})
		time.Sleep(3 * time.Second)
		synctest.Wait()
		require.Equal(t, "a m:1", d.texts(), "stored once, and nothing after it")
		require.True(t, r.Failing())
		require.Equal(t, 2, r.Waiting())
		select {
		case <-r.Stored():
			t.Error("told before the witness had it")
		default:
		}
		bad.Store(false)
		time.Sleep(5 * time.Second)
		synctest.Wait()
		<-r.Stored()
		require.Equal(t, "a m:1 b m:2", d.texts())
		require.Equal(t, "12", seen)
		require.False(t, r.Failing())
		require.NoError(t, r.Close(t.Context()))
	})
}

// TestRecorderClosesWithoutItsWitness: a witness that fails does not delay the exit
// beyond its time, and what it has not seen is reported.
func TestRecorderClosesWithoutItsWitness(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := newRecorder(t, &fakeDisk{}, RecorderOptions{Witness: func([]Entry) error { return errors.New("disk full") }})
		r.Offer(Entry{Bay: "bay-1", Stamp: stampAt(0), Events: told("a")})
		synctest.Wait()
		ctx, cancel := context.WithTimeout(t.Context(), 3*time.Second)
		defer cancel()
		require.Error(t, r.Close(ctx))
	})
}
