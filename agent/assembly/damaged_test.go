package assembly_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/config/configtest"
	"bayward/agent/interlock"
	"bayward/agent/logbook"
	"bayward/agent/order"
	"bayward/agent/words"
	"bayward/sensors/sim"
)

// twoBays returns a site with a logbook at path.
func twoBays(t *testing.T, path string) string {
	t.Helper()
	const more = "  - {name: lift-b, cells: 12, capacity_ah: 225, rate_hours: 20, full_gravity: 1.277, charge_level_mm: 3, " +
		"fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130, electrolyte_ml: 1350}\n"
	return configtest.OneBay(t, "LOGBOOK", path, "    pack: lift-a\n", "    pack: lift-a\n  - {name: bay-2, pack: lift-b}\n", "limits:\n", more+"limits:\n")
}

func damagedSite(t *testing.T, path string) *assemblytest.Site {
	t.Helper()
	starts := map[string]sim.Opts{}
	for _, name := range []string{"bay-1", "bay-2"} {
		starts[name] = sim.Opts{StateOfCharge: 0.5, LevelMM: 10, Connected: true}
	}
	return assemblytest.New(t, configtest.Parse(t, twoBays(t, path)), starts, nil)
}

// spoil overwrites the middle of a file, as a failing card does, and returns the
// new content.
func spoil(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	copy(data[len(data)/3:], strings.Repeat("\xa5", len(data)/3))
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return data
}

// mustBeHeld runs an hour in which nothing is granted, and checks the stated
// reason.
func mustBeHeld(t *testing.T, y *assemblytest.Site) {
	t.Helper()
	for range 3600 {
		y.Tick()
		for _, p := range y.Loop.Pictures() {
			require.False(t, p.Permit.Granted, "%s: %s", p.Bay, words.EnglishSI().Says(p))
		}
	}
	for _, p := range y.Loop.Pictures() {
		f := &p.Findings[interlock.Held]
		require.True(t, f.Raised, p.Bay)
		require.Contains(t, words.EnglishSI().Evidence(interlock.Held, f.Evidence), "may be missing from the record: a visit may be open", p.Bay)
	}
}

// doubts returns the events of a closed logbook that report a lost memory, by
// bay.
func doubts(t *testing.T, path string) map[string]string {
	t.Helper()
	r, err := logbook.OpenReadOnly(t.Context(), path)
	require.NoError(t, err)
	defer r.Close()
	out := map[string]string{}
	for e, err := range r.EachEvent(t.Context(), logbook.Query{}) {
		require.NoError(t, err)
		if e.Kind == bay.MemoryDoubted.String() {
			require.Empty(t, out[e.Bay], "it is told once")
			out[e.Bay] = e.File
		}
	}
	return out
}

// TestDamagedLogbook: a visit is open when the card corrupts the logbook. The
// file is kept unchanged, a new one is started, and every bay is held, across
// every restart, until a technician removes the hold.
func TestDamagedLogbook(t *testing.T) {
	for name, meanwhile := range map[string]func(t *testing.T, path string){
		"found by the agent": func(*testing.T, string) {},
		// Killed between setting the file aside and writing the first record.
		"found by a start that went no further": func(t *testing.T, path string) {
			t.Helper()
			b, err := logbook.Open(t.Context(), path, assemblytest.Quiet())
			require.NoError(t, err)
			require.NotEmpty(t, b.SetAside())
			require.NoError(t, b.Close())
		},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "logbook.db")
			y := damagedSite(t, path)
			y.Until("a charge", time.Hour, func(p *bay.Picture) bool { return p.Permit.Granted && p.Charge.Active })
			y.Order(order.Order{ID: "visit-1", Kind: order.VisitOpen})
			require.NoError(t, y.Close())
			bad := spoil(t, path)
			meanwhile(t, path)

			y = damagedSite(t, path)
			mustBeHeld(t, y)
			require.NoError(t, y.Close())
			kept, err := os.ReadFile(path + ".damaged-1")
			require.NoError(t, err)
			require.Equal(t, bad, kept, "not a byte of it is changed")
			for _, bayName := range []string{"bay-1", "bay-2"} {
				require.Contains(t, doubts(t, path)[bayName], path+".damaged-1", bayName)
			}

			y = damagedSite(t, path) // the hold is in the new one
			mustBeHeld(t, y)
			y.Order(unhold("unhold-1"))
			y.Until("a permit", time.Hour, func(p *bay.Picture) bool { return p.Permit.Granted })
			require.False(t, y.Loop.Pictures()[1].Permit.Granted, "only that bay's hold was taken back")
			y.OrderAt("bay-2", unhold("unhold-2"))
			y.Until("a permit of the other", time.Hour, func(*bay.Picture) bool { return y.Loop.Pictures()[1].Permit.Granted })
			require.NoError(t, y.Close())

			y = damagedSite(t, path) // and so is its end
			y.Until("a permit after that", time.Hour, func(p *bay.Picture) bool { return p.Permit.Granted && y.Loop.Pictures()[1].Permit.Granted })
			require.NoError(t, y.Close())
			require.FileExists(t, path+".damaged-1")
			require.NoFileExists(t, path+".damaged-2")
		})
	}
}

// unhold removes the hold of the people who are not known any more.
func unhold(id string) order.Order {
	return order.Order{ID: id, Kind: order.LockRemove, Lock: order.LockHold, Reason: "looked at both bays", NobodyAtPack: true}
}
