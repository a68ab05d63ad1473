package logbook

import (
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// Backups run again and again while a writer writes: each copy is whole and of one
// moment.
func TestBackupWhileWriting(t *testing.T) {
	path := filepath.Join(t.TempDir(), "l.db")
	b := openBook(t, path)
	r, err := OpenReadOnly(t.Context(), path) // as a command does beside the agent
	require.NoError(t, err)
	defer r.Close()
	stop, done := make(chan struct{}), make(chan error)
	go func() {
		for n := 0; ; n++ {
			select {
			case <-stop:
				done <- nil
				return
			default:
			}
			e := Entry{Bay: "bay-1", Stamp: minute(n), Events: someEvents(2), Rows: Rows{Charges: []Charge{someCharge(n)}}}
			if err := b.Write(t.Context(), e); err != nil {
				done <- err
				return
			}
		}
	}()
	for n := range 5 {
		to := filepath.Join(t.TempDir(), "copy 'of' "+itoa(n)+".db")
		require.NoError(t, r.Backup(t.Context(), to))
		require.Equal(t, []string{filepath.Base(to)}, namesIn(t, filepath.Dir(to)))
		c := openBook(t, to)
		chain, err := c.Verify(t.Context())
		require.NoError(t, err)
		require.Nil(t, chain.Break)
		mustCount(t, c, "bay-1", 2*chain.Rows) // a commit is there whole or not at all
		closeBook(t, c)
	}
	close(stop)
	require.NoError(t, <-done)
}

func TestBackupNeverOverwrites(t *testing.T) {
	b := openBook(t, filepath.Join(t.TempDir(), "l.db"))
	dir := t.TempDir()
	to := filepath.Join(dir, "copy.db")
	require.NoError(t, os.WriteFile(to, []byte("mine"), 0o600))
	require.ErrorIs(t, b.Backup(t.Context(), to), fs.ErrExist)
	require.Equal(t, "mine", string(fileBytes(t, to)))
	require.ErrorIs(t, renameNew(to, to), fs.ErrExist)
	require.Error(t, b.Backup(t.Context(), filepath.Join(dir, "no such folder", "copy.db")))
	require.Equal(t, []string{"copy.db"}, namesIn(t, dir))
}

// A copy on a disk that cannot be written can be read.
func TestBackupIsReadWhereNothingCanBeWritten(t *testing.T) {
	b := openBook(t, filepath.Join(t.TempDir(), "l.db"))
	writeRows(t, b, Rows{Charges: []Charge{someCharge(1)}})
	dir := t.TempDir()
	to := filepath.Join(dir, "copy.db")
	require.NoError(t, b.Backup(t.Context(), to))
	require.NoError(t, os.Chmod(to, 0o400))
	require.NoError(t, os.Chmod(dir, 0o500))
	t.Cleanup(func() { _ = os.Chmod(dir, 0o700) })
	r, err := OpenReadOnly(t.Context(), to)
	require.NoError(t, err)
	defer r.Close()
	mustHold(t, r, 1)
	require.Len(t, allOf(t, r.Charges(t.Context(), Query{})), 1)
	require.Equal(t, []string{"copy.db"}, namesIn(t, dir))
}

func namesIn(t *testing.T, dir string) []string {
	t.Helper()
	found, err := os.ReadDir(dir)
	require.NoError(t, err)
	var out []string
	for _, f := range found {
		out = append(out, f.Name())
	}
	return out
}
