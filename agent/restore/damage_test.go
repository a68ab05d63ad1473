package restore_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/logbook"
	"bayward/agent/order"
	"bayward/agent/reading"
)

// damages is how many random damages TestDamage does; BAYWARD_DAMAGES sets more.
func damages(t *testing.T) int {
	t.Helper()
	text := os.Getenv("BAYWARD_DAMAGES")
	if text == "" {
		return 100
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err, "BAYWARD_DAMAGES is a number")
	return n
}

// lockedOut is what was answered as locked out, or what a picture shows to be.
type lockedOut struct {
	held, visit, latched bool
}

func shown(p *bay.Picture) lockedOut {
	return lockedOut{
		held: p.Findings[interlock.Held].Raised, visit: p.Visit.Open,
		latched: p.Findings[interlock.ContactorStuck].Raised && p.Findings[interlock.ContactorStuck].Latched,
	}
}

// lost returns what was answered and does not block now. A hold blocks in place of
// anything.
func (was lockedOut) lost(is lockedOut) []string {
	var out []string
	for what, gone := range map[string]bool{"hold": was.held && !is.held, "visit": was.visit && !is.visit, "latch": was.latched && !is.latched} {
		if gone && !is.held {
			out = append(out, what)
		}
	}
	return out
}

// image is an agent's files after its end, and what it had answered by then.
type image struct {
	files files
	acked map[string]lockedOut
	cut   bool // it ended in the middle of a commit
}

// someLife lives for a while and ends, perhaps in the middle of a commit that lets
// go what was answered as locked out.
func someLife(t *testing.T, rnd *rand.Rand, dir string) image {
	t.Helper()
	l := &life{t: t, path: filepath.Join(dir, fmt.Sprint(rnd.Uint64()), "logbook.db")}
	l.start()
	im := image{acked: map[string]lockedOut{}, cut: rnd.IntN(2) == 0}
	for range 6 + rnd.IntN(10) {
		name := bayNames[rnd.IntN(2)]
		p, _ := l.tick(name, someOrders(rnd, l.bays[name])...)
		im.acked[name] = shown(p)
	}
	for _, name := range bayNames { // both are on record
		p, _ := l.tick(name)
		im.acked[name] = shown(p)
	}
	l.stop()
	im.files = l.keep()
	if im.cut {
		im.files = cutShort(t, rnd, l, im.files)
	}
	return im
}

// someOrders is what a person does next, or a wire: a contactor that does not open
// latches.
func someOrders(rnd *rand.Rand, d *baytest.Driver) []order.Order {
	d.Change = nil
	switch rnd.IntN(7) {
	case 0:
		return []order.Order{hold}
	case 1:
		return []order.Order{visitOpen}
	case 2:
		return []order.Order{unhold}
	case 3:
		return []order.Order{{Kind: order.VisitClose}}
	case 4:
		d.Change = func(r *bay.Readings) { r.ContactorClosed = reading.Good(1, r.Now) }
		for range 10 {
			d.Tick()
		}
	case 5:
		return []order.Order{{Kind: order.Release}}
	}
	return nil
}

// cutShort is the power failing while a commit is written to the file: some of its
// pages have arrived, and the journal has what they were. Nobody was answered.
func cutShort(t testing.TB, rnd *rand.Rand, l *life, before files) files {
	t.Helper()
	l.start()
	for _, name := range bayNames {
		for _, o := range []order.Order{unhold, {Kind: order.VisitClose}, {Kind: order.Release}} {
			entry, _, _ := l.step(name, o)
			require.NoError(t, l.book.Write(t.Context(), entry))
		}
	}
	l.stop()
	after := l.keep()[""]
	cut := maps.Clone(before)
	was := before[""]
	mixed := bytes.Clone(after)
	for at := 0; at < min(len(was), len(after)); at += 512 {
		if rnd.IntN(4) == 0 {
			copy(mixed[at:at+512], was[at:])
		}
	}
	cut[""], cut["-journal"] = mixed, hotJournal(rnd, was, after)
	return cut
}

// hotJournal makes the journal of a commit from the file before and after it: see
// "The Rollback Journal" in "Database File Format" of the database's documentation.
func hotJournal(rnd *rand.Rand, before, after []byte) []byte {
	const sector = 512
	page := int(binary.BigEndian.Uint16(before[16:]))
	nonce := rnd.Uint32()
	head := []byte("\xd9\xd5\x05\xf9\x20\xa1\x63\xd7")
	var pages []byte
	n := uint32(0)
	for at := 0; at+page <= len(before); at += page {
		old := before[at : at+page]
		if at+page <= len(after) && bytes.Equal(old, after[at:at+page]) {
			continue
		}
		sum := nonce
		for i := page - 200; i > 0; i -= 200 {
			sum += uint32(old[i])
		}
		pages = binary.BigEndian.AppendUint32(pages, uint32(at/page)+1)
		pages = binary.BigEndian.AppendUint32(append(pages, old...), sum)
		n++
	}
	for _, v := range []uint32{n, nonce, uint32(len(before) / page), sector, uint32(page)} {
		head = binary.BigEndian.AppendUint32(head, v)
	}
	return append(append(head, make([]byte, sector-len(head))...), pages...)
}

// damaged flips bits, cuts, or zeroes sectors of one file.
func damaged(rnd *rand.Rand, data []byte) []byte {
	out := bytes.Clone(data)
	if len(out) == 0 {
		return out
	}
	switch rnd.IntN(4) {
	case 0:
		out[rnd.IntN(len(out))] ^= 1 << rnd.IntN(8)
	case 1:
		for range 1 + rnd.IntN(16) {
			out[rnd.IntN(len(out))] ^= 1 << rnd.IntN(8)
		}
	case 2:
		out = out[:rnd.IntN(len(out))]
	default:
		at := rnd.IntN(len(out)) / 512 * 512
		clear(out[at:min(len(out), at+512*(1+rnd.IntN(8)))])
	}
	return out
}

// outcomes counts how damages ended.
type outcomes struct{ harmless, held, refused int }

// TestDamage damages database, journal and lockout file at random, one of them or two.
// However they are damaged: what was answered as locked out is locked out after the
// next start, or the bay is held, or the program refuses to start.
func TestDamage(t *testing.T) {
	seed := uint64(1) // the same in every run, unless BAYWARD_DAMAGES is set
	if os.Getenv("BAYWARD_DAMAGES") != "" {
		seed = rand.Uint64()
	}
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 0))
	dir := inMemory(t)
	all := make([]image, 10+damages(t)/100)
	for i := range all {
		all[i] = someLife(t, rnd, dir)
		mustComeBack(t, &all[i], dir)
	}
	var got outcomes
	kept := map[string]int{}
	for n := range damages(t) {
		im := &all[rnd.IntN(len(all))]
		f, what := maps.Clone(im.files), ""
		for range 1 + rnd.IntN(4)/3 {
			end := []string{"", "", "-journal", lockoutFile}[rnd.IntN(4)]
			f[end] = damaged(rnd, f[end])
			what += fmt.Sprintf("%q ", end)
		}
		afterDamage(t, im, f, filepath.Join(dir, fmt.Sprint("d", n)), &got, kept, fmt.Sprintf("damage %d of %s", n, what))
		if t.Failed() {
			return
		}
	}
	require.Positive(t, got.harmless)
	require.Positive(t, got.held)
	for _, what := range []string{"hold", "visit", "latch"} {
		require.Positive(t, kept[what], "no life ended with a %s: the test is broken", what)
	}
	t.Logf("%d damages: %d harmless or repaired, %d reported by a hold, %d by a refusal to start", damages(t), got.harmless, got.held, got.refused)
}

// mustComeBack checks that without damage nothing is doubted and nothing is lost,
// also where the end was in the middle of a commit.
func mustComeBack(t *testing.T, im *image, dir string) {
	t.Helper()
	l := &life{t: t, path: filepath.Join(dir, fmt.Sprintf("whole-%d-%v-%x", len(im.files), im.cut, im.files[""][100:104]), "logbook.db")}
	require.NoError(t, os.MkdirAll(filepath.Dir(l.path), 0o700))
	l.put(im.files)
	l.start()
	for _, name := range bayNames {
		_, p, events := l.step(name)
		require.False(t, slices.ContainsFunc(events, func(e bay.Event) bool { return e.Kind == bay.MemoryDoubted && e.Doubt != bay.OffTooLong }))
		require.Equal(t, im.acked[name], shown(p), name)
	}
	l.stop()
	require.NoError(t, os.RemoveAll(filepath.Dir(l.path)))
}

// afterDamage starts an agent on damaged files and checks what it does.
func afterDamage(t *testing.T, im *image, f files, dir string, got *outcomes, kept map[string]int, what string) {
	t.Helper()
	l := &life{t: t, path: filepath.Join(dir, "logbook.db")}
	require.NoError(t, os.MkdirAll(dir, 0o700))
	l.put(f)
	defer func() { require.NoError(t, os.RemoveAll(dir)) }()
	if _, err := logbook.OpenReadOnly(t.Context(), l.path); errors.Is(err, logbook.ErrForeign) || errors.Is(err, logbook.ErrNewer) {
		got.refused++
		return
	}
	l.start()
	doubted := false
	for _, name := range bayNames {
		_, p, events := l.step(name)
		was, is := im.acked[name], shown(p)
		for what, had := range map[string]bool{"hold": was.held, "visit": was.visit, "latch": was.latched} {
			if had {
				kept[what]++
			}
		}
		if lost := was.lost(is); len(lost) > 0 {
			t.Errorf("%s: %s has lost its %v", what, name, lost)
		}
		doubted = doubted || slices.ContainsFunc(events, func(e bay.Event) bool { return e.Kind == bay.MemoryDoubted })
	}
	if doubted {
		got.held++
	} else {
		got.harmless++
	}
	l.stop()
}

// inMemory returns a folder for files that need not outlive the machine, where a sync
// costs nothing. Where memory is short it is on the disk.
func inMemory(t testing.TB) string {
	t.Helper()
	const shm, enough = "/dev/shm", 512 << 20
	var free unix.Statfs_t
	if err := unix.Statfs(shm, &free); err != nil || free.Bavail*uint64(free.Bsize) < enough {
		return t.TempDir()
	}
	dir, err := os.MkdirTemp(shm, "restore-test-") //nolint:usetesting // not where the others go
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}
