package logbook

import (
	"encoding/binary"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
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
// synced: of the log, everything up to the last acknowledged commit. What was
// written after that may be there, be missing, or be torn in sectors of 512 bytes,
// in any mixture. After each cut the file opens, every acknowledged record is
// there, numbers continue without a gap, and the chain holds; and the next run
// continues from what is left.
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
	torn := 0
	for cycle := range cuts(t) {
		for range rnd.IntN(4) {
			life.commit()
		}
		next := filepath.Join(dir, itoa(cycle+1)+".db")
		if life.cut(rnd, next) {
			torn++
		}
		for _, part := range []string{"", "-wal", "-shm", ".lock", ".reserve", ".spare"} {
			_ = os.Remove(path + part) // the previous run
		}
		path = next
		life.resume(path)
	}
	if torn == 0 {
		t.Error("no cut tore anything: the test is broken")
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
// disk then contains. It reports whether that commit was torn.
func (l *life) cut(rnd *rand.Rand, next string) (torn bool) {
	l.t.Helper()
	main, synced := fileBytes(l.t, l.path), logBytes(l.t, l.path)
	require.NoError(l.t, l.b.Write(l.t.Context(), l.entry()))
	mainAfter, after := fileBytes(l.t, l.path), logBytes(l.t, l.path)
	disk := tear(rnd, synced, after)
	if string(mainAfter) != string(main) {
		// The log was written back to the file in this commit, after all of the log
		// was synced: the file may be torn, the log is not.
		disk, main = after, tear(rnd, main, mainAfter)
	}
	require.NoError(l.t, l.b.Close())
	require.NoError(l.t, os.WriteFile(next, main, 0o600))
	require.NoError(l.t, os.WriteFile(next+"-wal", disk, 0o600))
	return string(disk) != string(after)
}

// logBytes returns the log, empty if there is none yet.
func logBytes(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path + "-wal")
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
