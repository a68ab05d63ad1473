package logbook

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// older makes a logbook as a program of an earlier schema left it.
func older(t *testing.T, v int) (path string) {
	t.Helper()
	dump, err := os.ReadFile(fmt.Sprintf("testdata/v%d.sql", v))
	require.NoError(t, err, "each schema that was ever shipped needs its file")
	path = filepath.Join(t.TempDir(), "l.db")
	raw(t, path, string(dump))
	return path
}

// TestMigrationFromEverySchema opens a file of each earlier schema: nothing of
// it is lost, and it can be written on.
func TestMigrationFromEverySchema(t *testing.T) {
	for v := 1; v < newest; v++ {
		t.Run(fmt.Sprintf("version %d", v), func(t *testing.T) {
			path := older(t, v)
			_, err := OpenReadOnly(t.Context(), path)
			require.ErrorIs(t, err, ErrOlder)
			b := openBook(t, path)
			require.Empty(t, b.SetAside())
			mustCount(t, b, "bay-1", 9)
			mustCount(t, b, "bay-2", 3)
			n, err := b.UnsentCount(t.Context())
			require.NoError(t, err)
			require.Equal(t, 9-4+3, n)
			recs, err := b.Events(t.Context(), "bay-1", 5, 1)
			require.NoError(t, err)
			require.Equal(t, Record{
				Bay: "bay-1", Seq: 6, Stamp: stampAt(2), Kind: "order-taken", By: `O'Neil, "Zoë" 张`, Order: "a\nb", Text: "Hold; it's 5 % — ok",
			}, recs[0])
			m, s, ok, err := b.LoadMemory(t.Context(), "bay-1")
			require.NoError(t, err)
			require.True(t, ok)
			require.Equal(t, `{"v":1,"pack":"lift-24v"}`, string(m))
			require.Equal(t, stampAt(7), s)
			seqs, err := b.Append(t.Context(), "bay-1", stampAt(3), someEvents(1))
			require.NoError(t, err)
			require.Equal(t, []uint64{10}, seqs)
			writeRows(t, b, Rows{Charges: []Charge{someCharge(1)}})
			mustHold(t, b.Reader, 1)
			closeBook(t, b)
			closeBook(t, openBook(t, path))
		})
	}
}

// A power cut in the middle of a migration leaves the older file.
func TestMigrationIsAllOrNothing(t *testing.T) {
	path := older(t, 1)
	raw(t, path, "CREATE TABLE chain_head (x)") // the new schema's own cannot be made
	_, err := Open(t.Context(), path, quiet())
	require.ErrorContains(t, err, "change to schema version 2")
	raw(t, path, "DROP TABLE chain_head")
	b := openBook(t, path)
	mustCount(t, b, "bay-1", 9)
}
