package restore_test

import (
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// FuzzJournal puts any bytes beside a good logbook, as the journal of a commit that the
// power cut short: what was answered as locked out is locked out after the next start,
// or the bay is held.
func FuzzJournal(f *testing.F) {
	dir := inMemory(f)
	l := &life{t: f, path: filepath.Join(dir, "first", "logbook.db")}
	l.start()
	l.tick(bayNames[0], hold)
	l.tick(bayNames[1], visitOpen)
	l.stop()
	good := l.keep()
	rnd := rand.New(rand.NewPCG(1, 2))
	cut := cutShort(f, rnd, l, good)
	f.Add([]byte{}, false)
	f.Add(cut["-journal"], true)
	f.Add(cut["-journal"], false)
	f.Add(damaged(rnd, cut["-journal"]), true)
	f.Add(hotJournal(rnd, good[""][:4096], nil), false)
	f.Fuzz(func(t *testing.T, journal []byte, amid bool) {
		files := maps.Clone(good)
		if amid { // and the commit has reached a part of the logbook
			files[""] = cut[""]
		}
		files["-journal"] = journal
		path, err := os.MkdirTemp(dir, "run") //nolint:usetesting // in memory
		require.NoError(t, err)
		defer func() { _ = os.RemoveAll(path) }()
		l := &life{t: t, path: filepath.Join(path, "logbook.db")}
		l.put(files)
		l.start()
		defer l.stop()
		_, p, _ := l.step(bayNames[0])
		require.Empty(t, lockedOut{held: true}.lost(shown(p)))
		_, p, _ = l.step(bayNames[1])
		require.Empty(t, lockedOut{visit: true}.lost(shown(p)))
	})
}
