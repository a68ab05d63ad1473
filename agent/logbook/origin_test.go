package logbook

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func originOf(t *testing.T, b *Book) Origin {
	t.Helper()
	o, err := b.Origin(t.Context())
	require.NoError(t, err)
	return o
}

// TestBegunAgain: a logbook that is begun where an agent had one is told from a new
// one by any file that the agent left, and stays told.
func TestBegunAgain(t *testing.T) {
	for name, left := range map[string][]string{
		"nothing": nil, "another file": {".bak"}, "the lock": {".lock"}, "the reserve": {".reserve"}, "the spare": {".spare"},
		"who is locked out": {".lockout"}, "the journal": {"-journal"}, "the log": {"-wal"}, "an empty file": {"", ".lock"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(inMemory(t), "l.db")
			for _, end := range left {
				require.NoError(t, os.WriteFile(path+end, nil, 0o600))
			}
			want := Origin{Again: len(left) > 0 && left[0] != ".bak"}
			for range 2 {
				b := openBook(t, path)
				require.Equal(t, want, originOf(t, b))
				closeBook(t, b)
			}
		})
	}
}

// TestAFailedStartIsNotTheFirst: a start that went no further than its lock leaves
// no logbook, so the next one cannot know that there never was one.
func TestAFailedStartIsNotTheFirst(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	f, err := lock(path)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	require.True(t, originOf(t, openBook(t, path)).Again)
}

// TestOlderLogbooksOrigin: a logbook of an earlier schema is one that an agent had
// there, or one that somebody has copied there.
func TestOlderLogbooksOrigin(t *testing.T) {
	path := older(t, originates-1)
	require.NoError(t, os.WriteFile(path+".lock", nil, 0o600))
	b := openBook(t, path)
	require.Equal(t, Origin{}, originOf(t, b))
	m, err := b.LoadMemory(t.Context(), "bay-1")
	require.NoError(t, err)
	require.False(t, m.Copied)
	require.Equal(t, Origin{Copied: true}, originOf(t, openBook(t, older(t, originates-1))))
}

// TestABackupIsMarked: it knows that it is a copy, its memories until they are saved
// again; the logbook itself does not change.
func TestABackupIsMarked(t *testing.T) {
	dir := inMemory(t)
	b := openBook(t, filepath.Join(dir, "l.db"))
	for _, name := range []string{"bay-1", "bay-2"} {
		require.NoError(t, b.SaveMemory(t.Context(), name, stampAt(1), []byte("{}")))
	}
	require.NoError(t, b.SetMark(t.Context(), 1<<63|7))
	require.NoError(t, b.Backup(t.Context(), filepath.Join(dir, "copy.db")))
	require.Equal(t, Origin{Mark: 1<<63 | 7}, originOf(t, b))
	c := openBook(t, filepath.Join(dir, "copy.db"))
	require.Equal(t, Origin{Mark: 1<<63 | 7, Copied: true}, originOf(t, c))
	require.NoError(t, c.SaveMemory(t.Context(), "bay-1", stampAt(2), []byte("{}")))
	for book, want := range map[*Book][2]bool{b: {false, false}, c: {false, true}} {
		for i, name := range []string{"bay-1", "bay-2"} {
			m, err := book.LoadMemory(t.Context(), name)
			require.NoError(t, err)
			require.True(t, m.Whole)
			require.Equal(t, want[i], m.Copied, name)
		}
	}
}

// TestMemorySums: a change to any part of a memory is found, and so is a memory that
// is older than its bay's events.
func TestMemorySums(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	b := openBook(t, path)
	e := Entry{Bay: "bay-1", Pack: "lift-24v", Stamp: stampAt(1), Events: someEvents(3), Memory: []byte("{}"), PackMemory: []byte("{}")}
	require.NoError(t, b.Write(t.Context(), e))
	m, err := b.LoadMemory(t.Context(), "bay-1")
	require.NoError(t, err)
	require.Equal(t, &Stored{State: []byte("{}"), Bay: "bay-1", Stamp: stampAt(1), Newest: 3, Whole: true}, m)
	_, err = b.Append(t.Context(), "bay-1", stampAt(2), someEvents(1))
	require.NoError(t, err)
	last, err := b.Newest(t.Context())
	require.NoError(t, err)
	require.Equal(t, map[string]uint64{"bay-1": 4}, last)
	m, err = b.LoadMemory(t.Context(), "bay-1")
	require.NoError(t, err)
	require.EqualValues(t, 3, m.Newest)
	bad, err := b.DamagedMemories(t.Context())
	require.NoError(t, err)
	require.Empty(t, bad)
	closeBook(t, b)

	good := fileBytes(t, path)
	for _, table := range []string{memoryTable, packMemoryTable} {
		for _, change := range []string{"state = x'7b207d'", "wall_ms = wall_ms + 1", "trusted = 1 - trusted", "boot_id = 'x'", "mono_ns = 0", "crc = crc + 1"} {
			path := copied(t, good)
			raw(t, path, "UPDATE "+table+" SET "+change)
			requireDamaged(t, path, map[string]string{memoryTable: "bay-1", packMemoryTable: "lift-24v"}[table])
		}
	}
	for change, bad := range map[string]string{
		"UPDATE memory SET newest = 4": "bay-1", "UPDATE bay SET name = 'bay-9'": "bay-9", "UPDATE pack SET name = 'p'": "p",
	} {
		path := copied(t, good)
		raw(t, path, change)
		requireDamaged(t, path, bad)
	}
}

func requireDamaged(t *testing.T, path, name string) {
	t.Helper()
	b := openBook(t, path)
	bad, err := b.DamagedMemories(t.Context())
	require.NoError(t, err)
	require.Contains(t, bad, name)
	closeBook(t, b)
}
