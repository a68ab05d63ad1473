package logbook

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// older creates a logbook as a program of an earlier schema left it.
func older(t *testing.T, v int) (path string) {
	t.Helper()
	dump, err := os.ReadFile(fmt.Sprintf("testdata/v%d.sql", v))
	require.NoError(t, err, "each schema ever shipped needs its file")
	path = filepath.Join(t.TempDir(), "l.db")
	raw(t, path, string(dump))
	return path
}

// TestMigrationFromEverySchema opens a file of each earlier schema: nothing of it
// is lost, and it can be written to.
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
			require.Equal(t, 9-4+3, b.UnsentCount())
			recs, err := b.Events(t.Context(), "bay-1", 5, 1)
			require.NoError(t, err)
			require.Equal(t, Record{
				Bay: "bay-1", Seq: 6, Stamp: stampAt(2), Kind: "order-taken", By: `O'Neil, "Zoë" 张`, Order: "a\nb", Text: "Hold; it's 5 % — ok", Epoch: b.Epoch(),
			}, recs[0])
			m, err := b.LoadMemory(t.Context(), "bay-1")
			require.NoError(t, err)
			require.Equal(t, &Stored{State: []byte(`{"v":1,"pack":"lift-24v"}`), Bay: "bay-1", Stamp: stampAt(7), Newest: 9, Whole: true, Copied: true}, m)
			bad, err := b.DamagedMemories(t.Context())
			require.NoError(t, err)
			require.Empty(t, bad)
			seqs, err := b.Append(t.Context(), "bay-1", stampAt(3), someEvents(1))
			require.NoError(t, err)
			require.Equal(t, []uint64{10}, seqs)
			links := map[int]int{3: 4, 4: 7, 5: 9, 6: 12, 7: 12}[v] // a charge, a visit, and two signed records; then two charges and a visit; then one each; then those and a correction
			require.Equal(t, links > 0, mustHold(t, b.Reader, links).Again != nil)
			writeRows(t, b, Rows{Charges: []Charge{someCharge(1)}})
			mustHold(t, b.Reader, links+1)
			closeBook(t, b)
			closeBook(t, openBook(t, path))
		})
	}
}

// TestSignedBeforeTheChain: a record signed under schema 3 stays as it is, is
// chained from the migration on, and is marked as not chained before. One that was
// not signed yet continues.
func TestSignedBeforeTheChain(t *testing.T) {
	path := older(t, 3)
	b := openBook(t, path)
	c := mustHold(t, b.Reader, 4)
	require.Equal(t, [2]int{2, 2}, [2]int{c.Signed, c.Late})
	require.Equal(t, "2 charges and visits, 2 signed commissioning records (2 of them signed before such records were chained: "+
		"changes made before the logbook was upgraded cannot be detected) "+
		"(rebuilt when the names changed: 4 links held then, last "+c.Again.Head+")", c.Covers())
	for bayName, want := range map[string]string{"bay-1": `{"by":"Zoë \"O'Neil\""}`, "bay-2": `{"n":2}`} {
		body, ok, err := b.LastCommissioning(t.Context(), bayName)
		require.NoError(t, err)
		require.True(t, ok)
		require.Equal(t, want, string(body))
	}
	save := func(id string, signed bool) error {
		return b.SaveCommissioning(t.Context(), Commissioning{Bay: "bay-2", ID: id, Begun: stampAt(4), Signed: signed, Body: []byte(`{"n":9}`)})
	}
	require.ErrorIs(t, save("walk-2", true), ErrSigned)
	require.NoError(t, save("walk-1", false))
	mustHold(t, b.Reader, 4)
	require.NoError(t, save("walk-1", true))
	c = mustHold(t, b.Reader, 5)
	require.Equal(t, [2]int{3, 2}, [2]int{c.Signed, c.Late})
	closeBook(t, b)
	good := fileBytes(t, path)
	for _, change := range []string{"body = body || ' '", "late = 0"} { // the mark cannot be removed either
		path := copied(t, good)
		raw(t, path, unsealed+"UPDATE commissioning SET "+change+" WHERE walk = 'walk-2'")
		got := brokenAt(t, path)
		require.NotNil(t, got)
		require.Equal(t, "link 3 (commissioning 1): the row, its place or the link before it was changed.", got.String())
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
