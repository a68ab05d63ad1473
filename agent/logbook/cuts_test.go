package logbook

import (
	"encoding/binary"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"modernc.org/sqlite"
)

// cuts is how many power cuts TestCuts plays; BAYWARD_CUTS sets more.
func cuts(t *testing.T) int {
	t.Helper()
	text := os.Getenv("BAYWARD_CUTS")
	if text == "" {
		return 100
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err, "BAYWARD_CUTS is a number")
	return n
}

// TestCuts cuts the power again and again. The disk is one that keeps what it has
// synced; what was written after that may be there, be missing, or be torn in sectors
// of 512 bytes, in any mixture. After each cut the file opens, every acknowledged
// record is there, numbers continue without a gap, and the chain holds; and the next
// run continues from what is left.
func TestCuts(t *testing.T) {
	seed := uint64(1) // the same in every run, unless BAYWARD_CUTS is set
	if os.Getenv("BAYWARD_CUTS") != "" {
		seed = rand.Uint64()
	}
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 0))
	dir := inMemory(t) // syncing is simulated
	path := filepath.Join(dir, "0.db")
	life := newLife(t, path)
	torn, done := 0, 0
	for cycle := range cuts(t) {
		for range rnd.IntN(4) {
			life.commit()
		}
		next := filepath.Join(dir, itoa(cycle+1)+".db")
		if life.cut(rnd, next) {
			torn++
		}
		for _, part := range []string{"", "-journal", ".lock", ".reserve", ".spare"} {
			_ = os.Remove(path + part) // the previous run
		}
		path = next
		before := life.charges
		life.resume(path)
		done += life.charges - before
	}
	if torn == 0 || done == 0 || done == cuts(t) {
		t.Errorf("of %d cuts %d tore something, and %d commits were there: the test is broken", cuts(t), torn, done)
	}
	t.Logf("%d cuts, %d of them tore a running commit; %d events and %d charges are there", cuts(t), torn, life.events, life.charges)
}

// life is a writer with what was acknowledged to it.
type life struct {
	t       *testing.T
	b       *Book
	path    string
	events  int // acknowledged
	charges int // closed and acknowledged
}

func newLife(t *testing.T, path string) *life {
	return &life{t: t, b: openBook(t, path), path: path}
}

// entry returns what a commit writes: events, a memory, and a charge that closes.
func (l *life) entry() Entry {
	return Entry{
		Bay: "bay-1", Pack: "lift-24v", Stamp: minute(l.charges), Events: someEvents(1 + l.charges%3),
		Memory: []byte(itoa(l.events)), Rows: Rows{Charges: []Charge{someCharge(l.charges)}, Series: hours(l.charges, 5)},
	}
}

func (l *life) commit() {
	l.t.Helper()
	e := l.entry()
	require.NoError(l.t, l.b.Write(l.t.Context(), e))
	l.events, l.charges = l.events+len(e.Events), l.charges+1
}

// cut has one more commit running when the power fails, and leaves at next what the
// disk then contains. It reports whether the file or the journal was torn.
func (l *life) cut(rnd *rand.Rand, next string) (torn bool) {
	l.t.Helper()
	c := commitOf(l.t, l.b, l.entry())
	require.NoError(l.t, l.b.Close())
	file, journal := c.before, c.synced
	switch rnd.IntN(4) {
	case 0: // while the journal is written; its count of pages follows after a sync
		journal = tear(rnd, c.journalBefore, counted(c.synced, 0))
	case 1:
		if rnd.IntN(2) == 0 {
			journal = counted(c.synced, 0)
		}
	case 2: // while the file is written; the journal is synced
		file = tear(rnd, c.before, c.after)
	default: // the file is synced; the journal ends with its first sector
		file = c.after
		if rnd.IntN(2) == 0 {
			journal = c.journalAfter
		}
	}
	require.NoError(l.t, os.WriteFile(next, file, 0o600))
	require.NoError(l.t, os.WriteFile(next+"-journal", journal, 0o600))
	torn = string(file) != string(c.before) && string(file) != string(c.after)
	return torn || string(journal) != string(c.synced) && string(journal) != string(c.journalAfter)
}

// commitStates are the file and its journal around one commit.
type commitStates struct {
	before, after               []byte // the file
	journalBefore, journalAfter []byte
	synced                      []byte // the journal, from before the file is written until the commit
}

// commitOf commits an entry. The journal as it was synced is what the commit leaves
// of it, with the header that it had and the number of its pages: see "The Rollback
// Journal" in "Database File Format" of the database's documentation.
func commitOf(t *testing.T, b *Book, e Entry) (c commitStates) {
	t.Helper()
	c.before, c.journalBefore = fileBytes(t, b.path), journalBytes(t, b.path)
	var header []byte
	watch := func(hook sqlite.CommitHookFn) {
		conn, err := b.durable.Conn(t.Context())
		require.NoError(t, err)
		require.NoError(t, conn.Raw(func(driver any) error {
			hooks, ok := driver.(sqlite.HookRegisterer)
			require.True(t, ok)
			hooks.RegisterCommitHook(hook)
			return nil
		}))
		require.NoError(t, conn.Close())
	}
	watch(func() int32 {
		header = journalBytes(t, b.path)[:28]
		if string(fileBytes(t, b.path)) != string(c.before) {
			t.Error("the file was written before the commit: the test is broken")
		}
		return 0
	})
	require.NoError(t, b.Write(t.Context(), e))
	watch(nil)
	c.after, c.journalAfter = fileBytes(t, b.path), journalBytes(t, b.path)
	require.Equal(t, make([]byte, 28), c.journalAfter[:28], "the journal has ended")
	c.synced = append(slices.Clone(header), c.journalAfter[28:]...)
	c.synced = counted(c.synced, pagesIn(t, c.synced))
	return c
}

// counted gives a journal its mark and its number of pages, which are written last;
// without pages it has neither.
func counted(journal []byte, pages int) []byte {
	out := slices.Clone(journal)
	clear(out[:12])
	if pages > 0 {
		copy(out, "\xd9\xd5\x05\xf9\x20\xa1\x63\xd7")
		binary.BigEndian.PutUint32(out[8:], uint32(pages))
	}
	return out
}

// pagesIn counts the pages of a journal by their sums.
func pagesIn(t *testing.T, journal []byte) (n int) {
	t.Helper()
	nonce, sector := binary.BigEndian.Uint32(journal[12:]), int(binary.BigEndian.Uint32(journal[20:]))
	size := int(binary.BigEndian.Uint32(journal[24:]))
	require.Equal(t, pageBytes, size)
	for at := sector; at+size+8 <= len(journal); at += size + 8 {
		sum, page := nonce, journal[at+4:at+4+size]
		for i := size - 200; i > 0; i -= 200 {
			sum += uint32(page[i])
		}
		if sum != binary.BigEndian.Uint32(journal[at+4+size:]) {
			break
		}
		n++
	}
	require.Positive(t, n)
	return n
}

// journalBytes returns the journal, empty if there is none yet.
func journalBytes(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path + "-journal")
	if !os.IsNotExist(err) {
		require.NoError(t, err)
	}
	return data
}

// tear mixes two states of a file, sector by sector: each sector is old, new, or
// corrupted where old and new differ; the length is anything in between.
func tear(rnd *rand.Rand, before, after []byte) []byte {
	const sector = 512
	n := len(before)
	if more := len(after) - len(before); more > 0 {
		n += rnd.IntN(more + 1)
	}
	out := make([]byte, n)
	copy(out, before)
	for at := 0; at < n; at += sector {
		end := min(at+sector, n, len(after))
		if end <= at || end <= len(before) && string(before[at:end]) == string(after[at:end]) {
			continue
		}
		switch rnd.IntN(5) {
		case 0: // not written: old, or zeros where there was nothing
		case 1:
			copy(out[at:end], after[at:end])
			// A sector with synced bytes is written whole or not at all: disks
			// promise that, and the database calls it powersafe overwrite.
			for i := at; i+8 <= end && at >= len(before); i += 64 {
				binary.LittleEndian.PutUint64(out[i:], rnd.Uint64())
			}
		default:
			copy(out[at:end], after[at:end])
		}
	}
	return out
}

// resume is the next start of the agent.
func (l *life) resume(path string) {
	l.t.Helper()
	l.path, l.b = path, openBook(l.t, path)
	require.Empty(l.t, l.b.SetAside(), "a power cut damaged the file")
	got := allOf(l.t, l.b.EachEvent(l.t.Context(), Query{Newest: true, Limit: 1}))
	last := 0
	if len(got) > 0 {
		last = int(got[0].Seq)
	}
	chain, err := l.b.Verify(l.t.Context())
	require.NoError(l.t, err)
	require.Nil(l.t, chain.Break)
	// The running commit is there whole, or not at all.
	switch chain.Rows {
	case l.charges:
		require.Equal(l.t, l.events, last)
	case l.charges + 1:
		require.Equal(l.t, l.events+1+l.charges%3, last)
	default:
		l.t.Fatalf("%d charges are there, %d were acknowledged", chain.Rows, l.charges)
	}
	mustCount(l.t, l.b, "bay-1", last)
	if last > 0 {
		m, err := l.b.LoadMemory(l.t.Context(), "bay-1")
		require.NoError(l.t, err)
		require.NotNil(l.t, m)
		require.Contains(l.t, []string{itoa(l.events), itoa(l.events - 1 - max(l.charges-1, 0)%3)}, string(m.State))
	}
	l.charges, l.events = chain.Rows, last
}
