package lockout_test

import (
	"errors"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/lockout"
)

const (
	sector = 512
	slot   = 8192
)

var errDisk = errors.New("the disk does not answer")

// disk keeps what was synced apart from what was only written, as a card does.
type disk struct {
	synced, written []byte
	failWrite       bool // half of the next write arrives
	failSync        bool
	goodSyncs       int // that still succeed
}

func (d *disk) ReadAt(p []byte, at int64) (int, error) {
	n := copy(p, d.written[min(int(at), len(d.written)):])
	return n, nil
}

func (d *disk) WriteAt(p []byte, at int64) (int, error) {
	n := len(p)
	if d.failWrite {
		n /= 2
	}
	if end := int(at) + n; end > len(d.written) {
		d.written = append(d.written, make([]byte, end-len(d.written))...)
	}
	copy(d.written[at:], p[:n])
	if d.failWrite {
		return n, errDisk
	}
	return n, nil
}

func (d *disk) Sync() error {
	if d.failSync && d.goodSyncs == 0 {
		return errDisk
	}
	d.goodSyncs = max(0, d.goodSyncs-1)
	d.synced = slices.Clone(d.written)
	return nil
}

func (*disk) Close() error { return nil }

// cut is the disk after a power cut: each sector that was not synced is as before,
// as written, or garbage.
func (d *disk) cut(rnd *rand.Rand) *disk {
	after := make([]byte, len(d.written))
	copy(after, d.synced)
	for at := 0; at < len(after); at += sector {
		end := min(at+sector, len(after))
		if slices.Equal(after[at:end], d.written[at:end]) {
			continue
		}
		switch rnd.IntN(3) {
		case 0:
		case 1:
			copy(after[at:end], d.written[at:end])
		default:
			for i := at; i < end; i++ {
				after[i] = byte(rnd.Uint32())
			}
		}
	}
	return &disk{synced: slices.Clone(after), written: after}
}

func open(t require.TestingT, d *disk) *lockout.File {
	f, err := lockout.On(d)
	require.NoError(t, err)
	return f
}

var names = rapid.StringMatching(`[a-z][a-z0-9-]{0,30}`)

var states = rapid.Custom(func(t *rapid.T) lockout.State {
	bays := map[string]lockout.Bay{}
	for _, name := range rapid.SliceOfNDistinct(names, 0, 20, rapid.ID[string]).Draw(t, "bays") {
		latches := rapid.SliceOfNDistinct(names, 0, 4, rapid.ID[string]).Draw(t, "latches")
		slices.Sort(latches)
		bays[name] = lockout.Bay{
			Held: rapid.Bool().Draw(t, "held"), Visit: rapid.Bool().Draw(t, "visit"),
			Latches: latches, Newest: rapid.Uint64().Draw(t, "newest"), Doubted: rapid.Bool().Draw(t, "doubted"),
		}
	}
	return lockout.State{Mark: rapid.Uint64().Draw(t, "mark"), Bays: bays}
})

func same(a, b lockout.State) bool {
	return a.Mark == b.Mark && maps.EqualFunc(a.Bays, b.Bays, func(x, y lockout.Bay) bool {
		return x.Held == y.Held && x.Visit == y.Visit && x.Newest == y.Newest && x.Doubted == y.Doubted && slices.Equal(x.Latches, y.Latches)
	})
}

func among(t require.TestingT, got lockout.State, may ...lockout.State) {
	require.True(t, slices.ContainsFunc(may, func(s lockout.State) bool { return same(s, got) }), "%+v is not one of %+v", got, may)
}

// TestPowerCuts: whenever the power fails during a write, the file has the state
// acknowledged last or the one being written, and goes on from there.
func TestPowerCuts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rnd := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		d := &disk{}
		f := open(t, d)
		last := states.Draw(t, "first")
		require.NoError(t, f.Write(last))
		for range rapid.IntRange(1, 12).Draw(t, "writes") {
			next := states.Draw(t, "next")
			if rapid.Bool().Draw(t, "good") {
				require.NoError(t, f.Write(next))
				last = next
				continue
			}
			d.failWrite = rapid.Bool().Draw(t, "half")
			d.failSync = true
			d.goodSyncs = rapid.IntRange(0, 1).Draw(t, "first slot")
			require.ErrorIs(t, f.Write(next), errDisk)
			if rapid.Bool().Draw(t, "retry") {
				require.ErrorIs(t, f.Write(last), errDisk)
			}
			if rapid.Bool().Draw(t, "cut") {
				d = d.cut(rnd)
			}
			d.failWrite, d.failSync = false, false
			f = open(t, d) // the next start, after a kill or the cut
			got, err := f.State()
			require.NoError(t, err)
			among(t, got, last, next)
			last = got
		}
		got, err := open(t, d.cut(rnd)).State()
		require.NoError(t, err)
		among(t, got, last)
	})
}

// TestAFailedWriteIsRepeated: the disk comes back, and the same write arrives.
func TestAFailedWriteIsRepeated(t *testing.T) {
	d := &disk{}
	f := open(t, d)
	before := lockout.State{Mark: 7, Bays: map[string]lockout.Bay{"bay-1": {Newest: 1}}}
	after := lockout.State{Mark: 7, Bays: map[string]lockout.Bay{"bay-1": {Newest: 2, Held: true}}}
	require.NoError(t, f.Write(before))
	for range 3 {
		d.failSync = true
		require.ErrorIs(t, f.Write(after), errDisk)
		got, err := f.State()
		require.NoError(t, err)
		among(t, got, before)
	}
	d.failSync = false
	require.NoError(t, f.Write(after))
	got, err := open(t, d).State()
	require.NoError(t, err)
	among(t, got, after)
}

// damage flips bits, cuts the file, or zeroes sectors, from some byte on.
func damage(t *rapid.T, b []byte, from, to int) []byte {
	out := slices.Clone(b)
	switch rapid.IntRange(0, 2).Draw(t, "kind") {
	case 0:
		for range rapid.IntRange(1, 8).Draw(t, "flips") {
			out[rapid.IntRange(from, to-1).Draw(t, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		}
	case 1:
		clear(out[from/sector*sector : min(to, from/sector*sector+sector)])
	default:
		for i := from; i < to; i++ {
			out[i] = byte(i * 31)
		}
	}
	return out
}

// TestDamage: whatever happens to one slot, the file has the state acknowledged last;
// whatever happens to both, it has that or says that it has none.
func TestDamage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := &disk{}
		f := open(t, d)
		var last lockout.State
		for range rapid.IntRange(1, 4).Draw(t, "writes") {
			last = states.Draw(t, "state")
			require.NoError(t, f.Write(last))
		}
		at := rapid.IntRange(0, 1).Draw(t, "slot") * slot
		one := damage(t, d.written, at, min(at+slot, len(d.written)))
		got, err := open(t, &disk{written: one}).State()
		require.NoError(t, err)
		among(t, got, last)

		both := damage(t, one, slot-at, min(2*slot-at, len(d.written)))
		both = both[:rapid.IntRange(0, len(both)).Draw(t, "cut")]
		f = open(t, &disk{written: both})
		got, err = f.State()
		if err != nil {
			require.ErrorIs(t, err, lockout.ErrDamaged)
			require.Empty(t, got.Bays)
		} else {
			among(t, got, last)
		}
		next := states.Draw(t, "after")
		require.NoError(t, f.Write(next))
		got, err = f.State()
		require.NoError(t, err)
		among(t, got, next)
	})
}

// TestTwins: two different slots of one generation are no work of ours, and neither
// counts.
func TestTwins(t *testing.T) {
	d := &disk{}
	require.NoError(t, open(t, d).Write(lockout.State{Bays: map[string]lockout.Bay{"bay-1": {Held: true}}}))
	other := &disk{}
	require.NoError(t, open(t, other).Write(lockout.State{Bays: map[string]lockout.Bay{"bay-1": {}}}))
	both := slices.Concat(d.written[:slot], other.written[slot:])
	_, err := open(t, &disk{written: both}).State()
	require.ErrorIs(t, err, lockout.ErrDamaged)
}

// TestFile: the file is created by the first write, readable by its group, and is
// found again.
func TestFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logbook.db"+lockout.Suffix)
	f, err := lockout.Open(path)
	require.NoError(t, err)
	_, err = f.State()
	require.ErrorIs(t, err, fs.ErrNotExist)
	require.NoFileExists(t, path)
	want := lockout.State{Mark: 1 << 63, Bays: map[string]lockout.Bay{"bay-1": {Held: true, Visit: true, Latches: []string{"runaway"}, Newest: 12}}}
	for range 3 {
		want.Mark++
		require.NoError(t, f.Write(want))
		info, err := os.Stat(path)
		require.NoError(t, err)
		require.EqualValues(t, 2*slot, info.Size())
		require.EqualValues(t, 0o640, info.Mode().Perm()|0o040)
		again, err := lockout.Open(path)
		require.NoError(t, err)
		got, err := again.State()
		require.NoError(t, err)
		require.Equal(t, want, got)
		require.NoError(t, again.Close())
	}
	require.NoError(t, f.Close())
	left, err := filepath.Glob(path + ".*")
	require.NoError(t, err)
	require.Empty(t, left)
}

// TestFormat holds the bytes that the documentation describes.
func TestFormat(t *testing.T) {
	d := &disk{}
	require.NoError(t, open(t, d).Write(lockout.State{Mark: 0x0102030405060708, Bays: map[string]lockout.Bay{
		"b": {Visit: true, Newest: 258, Latches: []string{"y", "x"}}, "a": {Held: true, Doubted: true},
	}}))
	require.Equal(t, "BAYWLOCK\x00\x01\x00\x02\x00\x00\x00\x1c"+
		"\x00\x00\x00\x00\x00\x00\x00\x01\x01\x02\x03\x04\x05\x06\x07\x08"+
		"\x01a\x05\x00\x00\x00\x00\x00\x00\x00\x00\x00"+
		"\x01b\x02\x00\x00\x00\x00\x00\x00\x01\x02\x02\x01x\x01y", string(d.written[:60]))
	require.Equal(t, d.written[:64], d.written[slot:], "twice")
}

// TestTooMuch: what does not fit is refused, and the earlier state remains.
func TestTooMuch(t *testing.T) {
	d := &disk{}
	f := open(t, d)
	require.NoError(t, f.Write(lockout.State{Mark: 1}))
	long := make([]byte, 256)
	for i := range long {
		long[i] = 'n'
	}
	many := map[string]lockout.Bay{}
	for i := range 200 {
		many[string(long[:200])+string(rune('a'+i))] = lockout.Bay{}
	}
	for name, bays := range map[string]map[string]lockout.Bay{
		"no name": {"": {}}, "a long name": {string(long): {}}, "many bays": many, "no latch": {"a": {Latches: []string{""}}},
	} {
		require.Error(t, f.Write(lockout.State{Bays: bays}), name)
		got, err := open(t, d).State()
		require.NoError(t, err, name)
		require.EqualValues(t, 1, got.Mark, name)
	}
}

// FuzzFile: any bytes are either a file or reported, and what is read can be written
// and read again.
func FuzzFile(f *testing.F) {
	d := &disk{}
	file := open(f, d)
	for i := range uint64(2) {
		require.NoError(f, file.Write(lockout.State{Mark: i, Bays: map[string]lockout.Bay{"bay-1": {Held: true, Latches: []string{"runaway"}, Newest: i}}}))
	}
	f.Add(d.written)
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, raw []byte) {
		f := open(t, &disk{written: raw})
		got, err := f.State()
		if err != nil {
			require.ErrorIs(t, err, lockout.ErrDamaged)
		}
		if f.Write(got) == nil {
			again, err := f.State()
			require.NoError(t, err)
			among(t, again, got)
		}
	})
}
