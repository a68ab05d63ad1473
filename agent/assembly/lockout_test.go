package assembly_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/assembly"
	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/config/configtest"
	"bayward/agent/interlock"
	"bayward/agent/lockout"
	"bayward/agent/logbook"
	"bayward/agent/order"
	"bayward/sensors/sim"
)

// locked returns what the lockout file has of bay-1.
func locked(t *testing.T, path string) lockout.Bay {
	t.Helper()
	f, err := lockout.Open(path + lockout.Suffix)
	require.NoError(t, err)
	s, err := f.State()
	require.NoError(t, err)
	require.NoError(t, f.Close())
	return s.Bays["bay-1"]
}

// TestARecordThatIsNotTheNewest: a visit is open when a backup from before it is put
// in the logbook's place, or the logbook is deleted. Nothing is granted until a
// person has looked, across restarts.
func TestARecordThatIsNotTheNewest(t *testing.T) {
	for name, row := range map[string]struct {
		lose func(t *testing.T, path, backup string)
		want bay.Doubt
	}{
		"a backup": {func(t *testing.T, path, backup string) {
			t.Helper()
			require.NoError(t, os.Rename(backup, path))
		}, bay.LogbookCopied},
		"no logbook": {func(t *testing.T, path, _ string) {
			t.Helper()
			require.NoError(t, os.Remove(path))
		}, bay.LogbookMissing},
		"no lockout file": {func(t *testing.T, path, _ string) {
			t.Helper()
			require.NoError(t, os.Remove(path+lockout.Suffix))
		}, bay.LockoutMissing},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "logbook.db")
			backup := filepath.Join(t.TempDir(), "backup.db")
			y := damagedSite(t, path)
			y.Until("a charge", time.Hour, func(p *bay.Picture) bool { return p.Permit.Granted && p.Charge.Active })
			require.NoError(t, y.Book.Backup(t.Context(), backup))
			y.Order(order.Order{ID: "visit-1", Kind: order.VisitOpen})
			assemblytest.Until(t, "the visit in the lockout file", func() bool { return locked(t, path).Visit })
			require.NoError(t, y.Close())
			row.lose(t, path, backup)

			y = damagedSite(t, path)
			mustBeHeld(t, y)
			require.NoError(t, y.Close())
			require.Equal(t, map[string]bay.Doubt{"bay-1": row.want, "bay-2": row.want}, reported(t, path))

			y = damagedSite(t, path)
			mustBeHeld(t, y)
			y.Order(unhold("unhold-1"))
			if p := y.Tick(); p.Visit.Open { // only the lockout file is gone
				y.Order(order.Order{ID: "visit-2", Kind: order.VisitClose})
			}
			y.Until("a permit", time.Hour, func(p *bay.Picture) bool { return p.Permit.Granted })
			require.NoError(t, y.Close())
		})
	}
}

// reported returns what the events of a closed logbook doubt, by bay.
func reported(t *testing.T, path string) map[string]bay.Doubt {
	t.Helper()
	r, err := logbook.OpenReadOnly(t.Context(), path)
	require.NoError(t, err)
	defer r.Close()
	out := map[string]bay.Doubt{}
	for e, err := range r.EachEvent(t.Context(), logbook.Query{}) {
		require.NoError(t, err)
		if e.Kind == bay.MemoryDoubted.String() {
			out[e.Bay] = bay.ParseDoubt(e.Doubt)
		}
	}
	return out
}

// TestANewBayWaitsForAPerson: on an empty folder the bays are held where sensors are
// wired, until a person lets them go; simulated ones are not.
func TestANewBayWaitsForAPerson(t *testing.T) {
	wired := func(_ *assemblytest.Site, p *assembly.Parts) {
		c := *p.Config
		c.Sensors = "wired"
		p.Config = &c
	}
	starts := map[string]sim.Opts{"bay-1": {StateOfCharge: 0.5, LevelMM: 10, Connected: true}}
	granted := func(p *bay.Picture) bool { return p.Permit.Granted }
	y := assemblytest.New(t, configtest.Parse(t, configtest.OneBay(t)), starts, nil)
	y.Until("a permit", time.Hour, granted)
	require.NoError(t, y.Close())

	y = assemblytest.New(t, configtest.Parse(t, configtest.OneBay(t)), starts, wired)
	for range 600 {
		p := y.Tick()
		require.False(t, p.Permit.Granted)
		require.Equal(t, interlock.NewBay, p.Findings[interlock.Held].Evidence.Reason)
	}
	y.Order(unhold("unhold-1"))
	y.Until("a permit", time.Hour, granted)
	require.NoError(t, y.Close())
}
