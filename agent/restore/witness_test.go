package restore_test

import (
	"context"
	"encoding/json"
	"maps"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/commission"
	"bayward/agent/interlock"
	"bayward/agent/lockout"
	"bayward/agent/logbook"
	"bayward/agent/order"
)

var (
	hold      = order.Order{Kind: order.Hold}
	unhold    = order.Order{Kind: order.Unhold}
	visitOpen = order.Order{Kind: order.VisitOpen}
	lookedAt  = order.Order{Kind: order.LockRemove, Lock: order.LockHold, Reason: "looked at it", NobodyAtPack: true}
)

// inUse is an agent that has worked for a while: bay-1 is free, bay-2 is held.
func inUse(t *testing.T) *life {
	t.Helper()
	l := born(t)
	for range 3 {
		l.tick("bay-1")
		l.tick("bay-2")
	}
	l.tick("bay-2", hold)
	return l
}

// TestAGoodRecordIsBelieved: through restarts, kills between any two steps of a
// commit, and an upgrade, nothing is doubted.
func TestAGoodRecordIsBelieved(t *testing.T) {
	l := born(t)
	require.Equal(t, both(bay.NoDoubt), l.doubts())
	for range 3 {
		for _, name := range bayNames {
			l.tick(name)
		}
		l.restart()
		require.Equal(t, both(bay.NoDoubt), l.doubts())
	}
	entry, _, _ := l.step("bay-1", hold)
	require.NoError(t, l.book.Write(t.Context(), entry)) // and killed before the lockout file has it
	l.restart()
	require.Equal(t, both(bay.NoDoubt), l.doubts())
	_, p, _ := l.step("bay-1")
	require.True(t, p.Findings[interlock.Held].Raised)
}

// TestTheFileHasWhatIsAcknowledged: the file always has who is locked out and the
// number of each bay's newest event, and has no more of either when a write fails.
func TestTheFileHasWhatIsAcknowledged(t *testing.T) {
	l := inUse(t)
	want := map[string]lockout.Bay{}
	check := func(name string, b lockout.Bay) {
		t.Helper()
		last, err := l.book.Newest(t.Context())
		require.NoError(t, err)
		b.Newest = last[name]
		want[name] = b
		file, err := lockout.Open(l.path + lockoutFile)
		require.NoError(t, err)
		got, err := file.State()
		require.NoError(t, err)
		require.NoError(t, file.Close())
		require.Equal(t, want[name], got.Bays[name])
		origin, err := l.book.Origin(t.Context())
		require.NoError(t, err)
		require.Equal(t, origin.Mark, got.Mark)
		require.NotZero(t, got.Mark)
	}
	check("bay-2", lockout.Bay{Held: true})
	check("bay-1", lockout.Bay{})
	l.tick("bay-1", visitOpen)
	check("bay-1", lockout.Bay{Visit: true})
	l.tick("bay-1", hold)
	check("bay-1", lockout.Bay{Visit: true, Held: true})
	l.tick("bay-2", unhold)
	check("bay-2", lockout.Bay{})
	l.restart()
	l.tick("bay-1")
	check("bay-1", lockout.Bay{Visit: true, Held: true})
	l.stop()
}

// TestARetriedWriteCountsOnce: the recorder repeats what failed.
func TestARetriedWriteCountsOnce(t *testing.T) {
	l := inUse(t)
	entry, _, _ := l.step("bay-1", hold)
	require.NoError(t, l.book.Write(t.Context(), entry))
	for range 3 {
		require.NoError(t, l.witness.Stored([]logbook.Entry{entry}))
		if len(entry.Events) == 0 {
			break
		}
		entry.Events = nil // what was taken is not offered again
	}
	last, err := l.book.Newest(t.Context())
	require.NoError(t, err)
	l.stop()
	file, err := lockout.Open(l.path + lockoutFile)
	require.NoError(t, err)
	got, err := file.State()
	require.NoError(t, err)
	require.NoError(t, file.Close())
	require.Equal(t, last["bay-1"], got.Bays["bay-1"].Newest)
}

// TestWhatIsNotTheNewestIsHeld: whatever was done to the files of an agent that is
// at rest, each bay says what is wrong, again and again until its hold is on record.
func TestWhatIsNotTheNewestIsHeld(t *testing.T) {
	backup := func(l *life) {
		to := filepath.Join(l.t.TempDir(), "copy.db")
		require.NoError(l.t, l.book.Backup(context.Background(), to))
		l.tick("bay-1", visitOpen)
		l.tick("bay-2", unhold)
		l.stop()
		f := l.keep()
		copied := &life{t: l.t, path: to}
		f[""] = copied.keep()[""]
		l.put(f)
	}
	without := func(ends ...string) func(l *life) {
		return func(l *life) {
			l.stop()
			f := l.keep()
			for _, end := range ends {
				delete(f, end)
			}
			l.put(f)
		}
	}
	change := func(end string, do func([]byte) []byte) func(l *life) {
		return func(l *life) {
			l.stop()
			f := l.keep()
			f[end] = do(f[end])
			l.put(f)
		}
	}
	withSQL := func(text string) func(l *life) {
		return func(l *life) { l.stop(); l.sql(text) }
	}
	one := func(d bay.Doubt) map[string]bay.Doubt { return map[string]bay.Doubt{"bay-1": d, "bay-2": bay.NoDoubt} }
	for name, row := range map[string]struct {
		do   func(l *life)
		want map[string]bay.Doubt
	}{
		"a backup is put in its place": {backup, both(bay.LogbookCopied)},
		"a backup, and the lockout file is gone": {func(l *life) {
			backup(l)
			f := l.keep()
			delete(f, lockoutFile)
			l.put(f)
		}, both(bay.LogbookCopied)},
		"a backup on a new card": {func(l *life) {
			backup(l)
			l.put(files{"": l.keep()[""]})
		}, both(bay.LogbookCopied)},
		"an older copy is put in its place": {func(l *life) {
			l.stop()
			old := l.keep()[""]
			l.start()
			l.tick("bay-1", visitOpen)
			l.tick("bay-2", unhold)
			l.stop()
			f := l.keep()
			f[""] = old
			l.put(f)
		}, both(bay.LogbookOlder)},
		"the logbook of another machine": {func(l *life) {
			l.stop()
			other := inUse(t)
			other.orders = 100
			for range 5 {
				other.tick("bay-1", hold)
				other.tick("bay-1", unhold)
				other.tick("bay-2", unhold)
				other.tick("bay-2", hold)
			}
			other.stop()
			f := l.keep()
			f[""] = other.keep()[""]
			l.put(f)
		}, both(bay.LockoutOther)},
		"the logbook is gone":               {without(""), both(bay.LogbookMissing)},
		"logbook and lockout file are gone": {without("", lockoutFile), both(bay.LogbookMissing)},
		"all but the lock is gone":          {without("", lockoutFile, ".reserve", ".spare"), both(bay.LogbookMissing)},
		"all but the reserve is gone":       {without("", lockoutFile, ".lock", ".spare"), both(bay.LogbookMissing)},
		"the lockout file is gone":          {without(lockoutFile), both(bay.LockoutMissing)},
		"the lockout file is empty":         {change(lockoutFile, func([]byte) []byte { return nil }), both(bay.LockoutDamaged)},
		"the lockout file is overwritten":   {change(lockoutFile, func(b []byte) []byte { clear(b); return b }), both(bay.LockoutDamaged)},
		"the logbook is damaged":            {change("", func(b []byte) []byte { clear(b[100:3000]); return b }), both(bay.LogbookDamaged)},
		"the logbook is empty":              {change("", func([]byte) []byte { return nil }), both(bay.LogbookMissing)},
		"a memory was changed":              {withSQL("UPDATE memory SET mono_ns = 1 WHERE bay_id = (SELECT id FROM bay WHERE name = 'bay-1')"), one(bay.MemoryDamaged)},
		"a memory is no memory":             {withSQL("UPDATE memory SET state = x'5b5d' WHERE bay_id = (SELECT id FROM bay WHERE name = 'bay-1')"), one(bay.MemoryUnreadable)},
		"a memory is gone":                  {withSQL("DELETE FROM memory WHERE bay_id = (SELECT id FROM bay WHERE name = 'bay-1')"), one(bay.MemoryMissing)},
		"a memory and its counter are gone": {withSQL("PRAGMA foreign_keys = 0; DELETE FROM memory; DELETE FROM event; UPDATE bay SET last_seq = 0"), both(bay.LogbookOlder)},
		"an event has no memory": {func(l *life) {
			_, err := l.book.Append(context.Background(), "bay-1", logbook.Stamp{}, []bay.Event{{Kind: bay.ChargeFull}})
			require.NoError(l.t, err)
			l.stop()
		}, one(bay.MemoryOlder)},
		"a release was not confirmed": {func(l *life) {
			l.tick("bay-1", visitOpen)
			entry, _, _ := l.step("bay-1", order.Order{Kind: order.VisitClose})
			require.NoError(l.t, l.book.Write(context.Background(), entry))
			l.stop()
		}, one(bay.LockedOut)},
	} {
		t.Run(name, func(t *testing.T) {
			l := inUse(t)
			row.do(l)
			l.start()
			require.Equal(t, row.want, l.doubts())
			l.restart() // killed before anything was on record
			require.Equal(t, row.want, l.doubts())
			l.restart()
			l.tick("bay-1") // killed when the first bay's hold is
			l.restart()
			got := l.doubts()
			require.Equal(t, bay.NoDoubt, got["bay-1"])
			require.Equal(t, row.want["bay-2"] != bay.NoDoubt, got["bay-2"] != bay.NoDoubt, got["bay-2"])
			for _, name := range bayNames {
				p, _ := l.tick(name)
				require.True(t, p.Findings[interlock.Held].Raised, name)
			}
			_, events := l.tick("bay-1", lookedAt)
			require.True(t, slices.ContainsFunc(events, func(e bay.Event) bool { return e.Kind == bay.OrderTaken }), "a person lets it go")
			l.restart()
			require.Equal(t, both(bay.NoDoubt), l.doubts())
			_, p, _ := l.step("bay-1")
			require.False(t, p.Findings[interlock.Held].Raised)
			l.stop()
		})
	}
}

// TestALogbookWithoutItsOrigin: what cannot be compared is held at each start.
func TestALogbookWithoutItsOrigin(t *testing.T) {
	l := inUse(t)
	l.stop()
	l.sql("DROP TABLE origin")
	for range 2 {
		l.start()
		require.Equal(t, both(bay.LogbookUncertain), l.doubts())
		l.tick("bay-1")
		l.stop()
	}
}

// TestANewBay: with simulated sensors it is free; where there is a battery it is
// held until its walk is signed or a person lets it go.
func TestANewBay(t *testing.T) {
	l := born(t)
	require.Equal(t, both(bay.NoDoubt), l.doubts())
	l.stop()

	w := &life{t: t, path: filepath.Join(inMemory(t), "logbook.db"), wired: true}
	w.start()
	require.Equal(t, both(bay.BayNew), w.doubts())
	w.restart()
	require.Equal(t, both(bay.BayNew), w.doubts(), "killed before it was on record")
	w.walk = true
	w.restart()
	require.Equal(t, both(bay.NoDoubt), w.doubts(), "the walk proves its relay")
	w.walk = false
	w.restart()
	w.tick("bay-1")
	w.tick("bay-2", lookedAt)
	w.restart()
	require.Equal(t, both(bay.NoDoubt), w.doubts(), "it is reported once")
	for name, want := range map[string]bool{"bay-1": true, "bay-2": false} {
		_, p, _ := w.step(name)
		require.Equal(t, want, p.Findings[interlock.Held].Raised, name)
	}
	w.stop()
}

// passed is the record of a walk that has passed.
func passed(name string) commission.Record {
	r := commission.Record{V: 1, ID: "walk-" + name, Bay: name, Person: "Ana", Signed: true}
	for _, key := range []string{"rest", "voltage", "level", "temperature", "relay", "death"} {
		r.Steps = append(r.Steps, commission.Step{Key: key, Result: commission.Passed})
	}
	return r
}

// TestTheWalkLetsANewBayGo: a walk that is signed, has passed, and was on real
// sensors; also after the bay was held as new.
func TestTheWalkLetsANewBayGo(t *testing.T) {
	for name, row := range map[string]struct {
		change func(r *commission.Record)
		goes   bool
	}{
		"signed":           {func(*commission.Record) {}, true},
		"not signed":       {func(r *commission.Record) { r.Signed = false }, false},
		"failed":           {func(r *commission.Record) { r.Steps[4].Result = commission.Failed }, false},
		"without a step":   {func(r *commission.Record) { r.Steps = r.Steps[:5] }, false},
		"simulated":        {func(r *commission.Record) { r.Simulated = true }, false},
		"of the other bay": {func(r *commission.Record) { r.Bay = "bay-2" }, false},
	} {
		for _, first := range []bool{false, true} {
			t.Run(name, func(t *testing.T) {
				l := &life{t: t, path: filepath.Join(inMemory(t), "logbook.db"), wired: true}
				l.start()
				if first {
					l.tick("bay-1")
				}
				walk := passed("bay-1")
				row.change(&walk)
				body, err := json.Marshal(&walk)
				require.NoError(t, err)
				require.NoError(t, l.book.SaveCommissioning(t.Context(), logbook.Commissioning{Bay: "bay-1", ID: walk.ID, Signed: walk.Signed, Body: body}))
				for range 2 {
					l.restart()
					require.Equal(t, bay.BayNew, l.doubts()["bay-2"])
					p, _ := l.tick("bay-1")
					require.Equal(t, !row.goes, p.Findings[interlock.Held].Raised)
				}
				l.stop()
			})
		}
	}
}

// TestTheWalkIsNoWayAroundADoubt: neither a signed walk nor a new one lets go what is
// doubted.
func TestTheWalkIsNoWayAroundADoubt(t *testing.T) {
	l := inUse(t)
	walk := passed("bay-1")
	body, err := json.Marshal(&walk)
	require.NoError(t, err)
	require.NoError(t, l.book.SaveCommissioning(t.Context(), logbook.Commissioning{Bay: "bay-1", ID: walk.ID, Signed: true, Body: body}))
	l.stop()
	f := l.keep()
	delete(f, lockoutFile)
	l.put(f)
	for _, l.walk = range []bool{true, false} {
		l.start()
		require.Equal(t, both(bay.LockoutMissing), l.doubts())
		l.stop()
	}
}

// TestUpgrade: a logbook from before there was a lockout file is believed where an
// agent had it, and gets its file at once.
func TestUpgrade(t *testing.T) {
	l := inUse(t)
	l.stop()
	f := l.keep()
	delete(f, lockoutFile)
	l.put(f)
	l.sql("UPDATE origin SET mark = 0")
	upgraded := l.keep()
	l.start()
	require.Equal(t, both(bay.NoDoubt), l.doubts())
	l.stop()
	paired := l.keep()
	require.Contains(t, paired, lockoutFile)
	half := maps.Clone(paired) // killed between file and mark
	half[""] = upgraded[""]
	for _, f := range []files{paired, half} {
		l.put(f)
		l.start()
		require.Equal(t, both(bay.NoDoubt), l.doubts())
		_, p, _ := l.step("bay-2")
		require.True(t, p.Findings[interlock.Held].Raised, "as it was")
		l.stop()
	}
	delete(paired, lockoutFile)
	l.put(paired)
	l.start()
	require.Equal(t, both(bay.LockoutMissing), l.doubts())
	l.stop()
}

// TestABayThatWasAway: what the file knows of a bay stays while the bay is not in the
// configuration.
func TestABayThatWasAway(t *testing.T) {
	l := inUse(t)
	l.stop()
	all := bayNames
	defer func() { bayNames = all }()
	bayNames = all[:1]
	l.start()
	l.tick("bay-1", hold)
	l.stop()
	bayNames = all
	l.sql("PRAGMA foreign_keys = 0; DELETE FROM memory WHERE bay_id = 2; UPDATE bay SET last_seq = 0 WHERE name = 'bay-2'")
	l.start()
	require.Equal(t, bay.LogbookOlder, l.doubts()["bay-2"])
	l.stop()
}
