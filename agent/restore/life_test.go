package restore_test

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	_ "modernc.org/sqlite" // to change a logbook behind its back

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/lockout"
	"bayward/agent/logbook"
	"bayward/agent/order"
	"bayward/agent/restore"
)

// life is an agent with two bays, reduced to what is on record: cores, logbook and
// lockout file.
type life struct {
	t       testing.TB
	path    string // of the logbook
	wired   bool
	walk    bool // its cores are for a commissioning walk
	book    *logbook.Book
	witness *restore.Witness
	bays    map[string]*baytest.Driver
	now     time.Duration
	orders  int
}

var bayNames = []string{"bay-1", "bay-2"}

// born returns an agent whose files are in a folder that nobody has used.
func born(t *testing.T) *life {
	t.Helper()
	l := &life{t: t, path: filepath.Join(inMemory(t), "logbook.db")}
	l.start()
	return l
}

// start is a start of the program, whatever the files are like.
func (l *life) start() {
	l.t.Helper()
	log := slog.New(slog.DiscardHandler)
	from := restore.Source{
		Gap: func(logbook.Stamp) (time.Duration, bool) { return time.Second, true },
		Now: func() time.Duration { return l.now }, Log: log, Wired: l.wired, Walk: l.walk,
	}
	var err error
	if l.book, err = logbook.Open(context.Background(), l.path, log); err == nil {
		l.witness = restore.OpenWitness(l.path, log)
		from.Book, from.Witness = l.book, l.witness
	}
	var setups []bay.Setup
	for _, name := range bayNames {
		s := baytest.Setup(name)
		s.Pack.Name = "pack-" + name
		s.Limits.CloseDelay, s.Limits.OffMin, s.Limits.SettleFor = 5*time.Second, 5*time.Second, 5*time.Second
		setups = append(setups, s)
	}
	cores, _ := from.Cores(context.Background(), setups, nil)
	l.bays = map[string]*baytest.Driver{}
	for i, name := range bayNames {
		l.bays[name] = &baytest.Driver{Core: cores[i], Now: l.now, Values: baytest.AtRest()}
	}
}

// stop ends the program. What was acknowledged is on the disk by then.
func (l *life) stop() {
	l.t.Helper()
	if l.book == nil {
		return
	}
	require.NoError(l.t, l.witness.Close())
	require.NoError(l.t, l.book.Close())
	l.book = nil
}

func (l *life) restart() { l.t.Helper(); l.stop(); l.start() }

// tick steps a bay and stores what that leaves, as the recorder does; what it
// returns is acknowledged.
func (l *life) tick(name string, orders ...order.Order) (*bay.Picture, []bay.Event) {
	l.t.Helper()
	entry, p, events := l.step(name, orders...)
	require.NoError(l.t, l.book.Write(context.Background(), entry))
	require.NoError(l.t, l.witness.Stored([]logbook.Entry{entry}))
	return p, events
}

// step steps a bay without storing anything.
func (l *life) step(name string, orders ...order.Order) (logbook.Entry, *bay.Picture, []bay.Event) {
	l.t.Helper()
	for i := range orders {
		l.orders++
		orders[i].ID, orders[i].By = fmt.Sprint("o", l.orders), "Ana"
	}
	d := l.bays[name]
	p, events := d.Tick(orders...)
	l.now = max(l.now, d.Now)
	memory := d.Core.Memory()
	state, err := json.Marshal(&memory)
	require.NoError(l.t, err)
	return logbook.Entry{Bay: name, Pack: p.Pack.Name, Events: events, Memory: state}, p, events
}

// doubts steps each bay once, without storing it, and returns what each reports.
func (l *life) doubts() map[string]bay.Doubt {
	l.t.Helper()
	all := map[string]bay.Doubt{}
	for _, name := range bayNames {
		_, p, events := l.step(name)
		all[name] = bay.NoDoubt
		for _, e := range events {
			if e.Kind == bay.MemoryDoubted && e.Doubt != bay.OffTooLong {
				all[name] = e.Doubt
				require.True(l.t, p.Findings[interlock.Held].Raised, "%s: %s", name, e.Doubt)
			}
		}
	}
	return all
}

// both is the same for each bay.
func both(d bay.Doubt) map[string]bay.Doubt { return map[string]bay.Doubt{"bay-1": d, "bay-2": d} }

// sql changes the logbook behind its back.
func (l *life) sql(statement string) {
	l.t.Helper()
	db, err := sql.Open("sqlite", "file:"+l.path)
	require.NoError(l.t, err)
	_, err = db.ExecContext(context.Background(), statement)
	require.NoError(l.t, err)
	require.NoError(l.t, db.Close())
}

// files are those of a life, by what their names have after the logbook's.
type files map[string][]byte

// lockoutFile is the end of its name.
const lockoutFile = lockout.Suffix

// keep reads all files while nobody has them open.
func (l *life) keep() files {
	l.t.Helper()
	all, err := filepath.Glob(l.path + "*")
	require.NoError(l.t, err)
	out := files{}
	for _, name := range all {
		data, err := os.ReadFile(name)
		require.NoError(l.t, err)
		out[name[len(l.path):]] = data
	}
	return out
}

// put replaces all files.
func (l *life) put(f files) {
	l.t.Helper()
	for end := range l.keep() {
		require.NoError(l.t, os.Remove(l.path+end))
	}
	for end, data := range f {
		require.NoError(l.t, os.WriteFile(l.path+end, data, 0o600))
	}
}
