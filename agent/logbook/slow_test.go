package logbook

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestSlowReaderHoldsNobodyUp: a reader of another process stops in the middle of
// each of its answers. The writer commits as if it were alone.
func TestSlowReaderHoldsNobodyUp(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	b := openBook(t, path)
	for n := range 3 {
		rows := Rows{Charges: []Charge{someCharge(n)}, Visits: []Visit{someVisit(n)}, Series: hours(n, 2*page)}
		require.NoError(t, b.Write(t.Context(), Entry{Bay: "bay-1", Stamp: minute(n), Events: someEvents(2 * page), Rows: rows}))
	}
	r, err := OpenReadOnly(t.Context(), path)
	require.NoError(t, err)
	defer r.Close()
	_, err = b.durable.ExecContext(t.Context(), "PRAGMA busy_timeout = 0")
	require.NoError(t, err)
	commits := 0
	commit := func() bool {
		_, err := b.Append(t.Context(), "bay-2", stampAt(commits), someEvents(1))
		require.NoError(t, err)
		commits++
		return commits%3 > 0 // and sometimes the reader goes on
	}
	for range r.EachEvent(t.Context(), Query{}) {
		if !commit() {
			break
		}
	}
	for range r.Series(t.Context(), Query{Newest: true}) {
		if !commit() {
			break
		}
	}
	for range r.Visits(t.Context(), Query{}) {
		if !commit() {
			break
		}
	}
	require.GreaterOrEqual(t, commits, 9)
}

// TestLongReadsHoldNobodyUp: a verification and a backup of a long record hold
// nothing between two of their steps.
func TestLongReadsHoldNobodyUp(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	b := openBook(t, path)
	for n := range 10 {
		var rows Rows
		for i := range 100 {
			rows.Charges = append(rows.Charges, someCharge(100*n+i))
		}
		require.NoError(t, b.Write(t.Context(), Entry{Bay: "bay-1", Stamp: minute(n), Events: someEvents(200), Rows: rows}))
	}
	r, err := OpenReadOnly(t.Context(), path)
	require.NoError(t, err)
	defer r.Close()
	_, err = b.durable.ExecContext(t.Context(), "PRAGMA busy_timeout = 0")
	require.NoError(t, err)
	commits := 0
	r.between = func() {
		_, err := b.Append(t.Context(), "bay-2", stampAt(commits), someEvents(1))
		require.NoError(t, err)
		commits++
	}
	mustHold(t, r, 1000)
	require.GreaterOrEqual(t, commits, 1000/page)
	commits = 0
	to := filepath.Join(t.TempDir(), "copy.db")
	require.NoError(t, r.Backup(t.Context(), to)) // each commit makes it begin again
	require.Greater(t, commits, 2)
	c, err := OpenReadOnly(t.Context(), to)
	require.NoError(t, err)
	defer c.Close()
	mustHold(t, c, 1000)
}
