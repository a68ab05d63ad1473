package logbook

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// epochs returns the epoch of each event of bay-1, by number from 1.
func epochs(t *testing.T, r *Reader) (out []string) {
	t.Helper()
	recs, err := r.Events(t.Context(), "bay-1", 0, 1000)
	require.NoError(t, err)
	for i := range recs {
		require.Equal(t, uint64(i+1), recs[i].Seq)
		out = append(out, recs[i].Epoch)
	}
	return out
}

func appendTo(t *testing.T, b *Book, n int) {
	t.Helper()
	_, err := b.Append(t.Context(), "bay-1", stampAt(1), someEvents(n))
	require.NoError(t, err)
}

// TestEpochOfARecord: a logbook keeps its epoch over restarts; a backup in its place has
// another from the first event that it numbers itself; a new file has another.
func TestEpochOfARecord(t *testing.T) {
	dir := t.TempDir()
	path, backup, fresh := filepath.Join(dir, "l.db"), filepath.Join(dir, "backup.db"), filepath.Join(dir, "fresh.db")
	b := openBook(t, path)
	first := b.Epoch()
	require.Regexp(t, "^[0-9a-f]{16}$", first)
	appendTo(t, b, 2)
	closeBook(t, b)
	b = openBook(t, path)
	require.Equal(t, first, b.Epoch(), "the same after a restart")
	appendTo(t, b, 1)
	require.NoError(t, b.Backup(t.Context(), backup))
	appendTo(t, b, 1)
	require.Equal(t, []string{first, first, first, first}, epochs(t, b.Reader))
	closeBook(t, b)

	b = openBook(t, fresh)
	require.NotEqual(t, first, b.Epoch())
	closeBook(t, b)

	r, err := OpenReadOnly(t.Context(), backup)
	require.NoError(t, err)
	require.Equal(t, []string{first, first, first}, epochs(t, r), "reading a backup changes nothing")
	require.NoError(t, r.Close())
	b = openBook(t, backup)
	second := b.Epoch()
	require.NotEqual(t, first, second)
	appendTo(t, b, 1)
	closeBook(t, b)
	b = openBook(t, backup)
	require.Equal(t, second, b.Epoch(), "once for each time that it is put in place")
	require.Equal(t, []string{first, first, first, second}, epochs(t, b.Reader))
	require.NoError(t, b.RenewEpoch(t.Context()))
	third := b.Epoch()
	require.NotContains(t, []string{first, second}, third)
	appendTo(t, b, 1)
	require.Equal(t, []string{first, first, first, second, third}, epochs(t, b.Reader))
	unsent, err := b.Unsent(t.Context(), 10)
	require.NoError(t, err)
	require.Len(t, unsent, 5)
	require.Equal(t, []string{first, third}, []string{unsent[0].Epoch, unsent[4].Epoch})
}
