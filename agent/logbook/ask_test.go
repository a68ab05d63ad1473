package logbook

import (
	"context"
	"errors"
	"path/filepath"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// TestHangingReads: whoever asks a device that hangs is told so in time, also when
// many have asked before. Only a few queries hang, and the record answers again when
// the device does.
func TestHangingReads(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := &Reader{slots: make(chan struct{}, readers)}
		r.AnswerWithin(2 * time.Second)
		hang := make(chan struct{})
		var inside atomic.Int64
		query := func(context.Context, querier) (int, error) { // as a thread in the kernel, it knows of no context
			inside.Add(1)
			defer inside.Add(-1)
			<-hang
			return 42, nil
		}
		for range 20 {
			began := time.Now()
			_, err := ask(t.Context(), r, query)
			require.ErrorIs(t, err, ErrNoAnswer)
			require.Equal(t, 2*time.Second, time.Since(began))
		}
		require.Equal(t, int64(readers), inside.Load())
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		_, err := ask(ctx, r, query)
		require.ErrorIs(t, err, context.DeadlineExceeded, "the caller's own end")
		close(hang)
		synctest.Wait()
		got, err := ask(t.Context(), r, query)
		require.NoError(t, err)
		require.Equal(t, 42, got)
	})
}

// TestAskPassesOn: what a query returns comes back as it is, a panic as an error.
func TestAskPassesOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := &Reader{slots: make(chan struct{}, readers)}
		broken := errors.New("broken")
		for _, patience := range []time.Duration{0, time.Minute} {
			r.AnswerWithin(patience)
			_, err := ask(t.Context(), r, func(context.Context, querier) (int, error) { return 1, broken })
			require.ErrorIs(t, err, broken)
		}
		_, err := ask(t.Context(), r, func(context.Context, querier) (int, error) { panic("a damaged page") })
		require.ErrorContains(t, err, "a damaged page")
		synctest.Wait() // a slot is free just after its answer
		require.Empty(t, r.slots)
	})
}

// TestLockedRecord: while another program keeps the file to itself, every read ends in
// time, and works again after that.
func TestLockedRecord(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	b := openBook(t, path)
	require.NoError(t, b.Write(t.Context(), Entry{Bay: "bay-1", Stamp: minute(1), Events: someEvents(2), Rows: Rows{
		Charges: []Charge{someCharge(1)}, Visits: []Visit{someVisit(3)}, Series: hours(0, 2),
	}}))
	b.AnswerWithin(50 * time.Millisecond)
	reads := map[string]func(*Reader) error{
		"packs":  func(r *Reader) error { _, err := r.Packs(t.Context()); return err },
		"bays":   func(r *Reader) error { _, err := r.Bays(t.Context()); return err },
		"events": func(r *Reader) error { _, err := r.Events(t.Context(), "bay-1", 0, 9); return err },
		"verify": func(r *Reader) error { _, err := r.Verify(t.Context()); return err },
		"walk":   func(r *Reader) error { _, _, err := r.LastCommissioning(t.Context(), "bay-1"); return err },
		"visits": func(r *Reader) error { return firstError(r.Visits(t.Context(), Query{})) },
		"series": func(r *Reader) error { return firstError(r.Series(t.Context(), Query{})) },
		"each":   func(r *Reader) error { return firstError(r.EachEvent(t.Context(), Query{})) },
	}
	other, err := handle(path, "_txlock=exclusive")
	require.NoError(t, err)
	tx, err := other.BeginTx(t.Context(), nil)
	require.NoError(t, err)
	for name, read := range reads {
		require.ErrorIs(t, read(b.Reader), ErrNoAnswer, name)
	}
	require.NoError(t, tx.Rollback())
	require.NoError(t, other.Close())
	b.AnswerWithin(time.Minute) // those that were left behind end first
	for name, read := range reads {
		require.NoError(t, read(b.Reader), name)
	}
}

// firstError returns the error with which a sequence ends.
func firstError[T any](rows func(yield func(T, error) bool)) (err error) {
	rows(func(_ T, e error) bool { err = e; return e == nil })
	return err
}
