package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/config/configtest"
	"bayward/agent/interlock"
	"bayward/agent/logbook"
	"bayward/agent/words"
	"bayward/sensors/sim"
)

// twoBays is a site with a logbook at path.
func twoBays(t *testing.T, path string) string {
	t.Helper()
	const more = "  - {name: lift-b, cells: 12, capacity_ah: 225, rate_hours: 20, full_gravity: 1.277, charge_level_mm: 3, " +
		"fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130, electrolyte_ml: 1350}\n"
	return configtest.OneBay(t, "LOGBOOK", path, "    pack: lift-a\n", "    pack: lift-a\n  - {name: bay-2, pack: lift-b}\n", "limits:\n", more+"limits:\n")
}

func damagedYard(t *testing.T, path string) *yard {
	t.Helper()
	starts := map[string]sim.Opts{}
	for _, name := range []string{"bay-1", "bay-2"} {
		starts[name] = sim.Opts{StateOfCharge: 0.5, LevelMM: 10, Connected: true}
	}
	return newYard(t, configtest.Parse(t, twoBays(t, path)), starts, nil)
}

// spoil overwrites the middle of a file, as a card does that fails, and gives
// what is there then.
func spoil(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	copy(data[len(data)/3:], strings.Repeat("\xa5", len(data)/3))
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return data
}

// mustBeHeld runs an hour in which nothing is granted and says why.
func (y *yard) mustBeHeld() {
	y.t.Helper()
	for range 3600 {
		y.tick()
		for _, p := range y.loop.Pictures() {
			require.False(y.t, p.Permit.Granted, "%s: %s", p.Bay, words.EnglishSI().Says(p))
		}
	}
	for _, p := range y.loop.Pictures() {
		f := &p.Findings[interlock.Held]
		require.True(y.t, f.Raised, p.Bay)
		require.Contains(y.t, interlock.Explain(interlock.Held, f.Evidence), "cannot be read: a visit may be open", p.Bay)
	}
}

// doubts are the events of a closed logbook that tell of a lost memory, by bay.
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
			out[e.Bay] = e.Text
		}
	}
	return out
}

// TestDamagedLogbook: a visit is open when the card spoils the logbook. The file
// is kept as it is, a new one is begun, and every bay is held, over every
// restart, until a person takes it back.
func TestDamagedLogbook(t *testing.T) {
	for name, meanwhile := range map[string]func(t *testing.T, path string){
		"found by the agent": func(*testing.T, string) {},
		// Killed between the setting aside and the first record.
		"found by a start that went no further": func(t *testing.T, path string) {
			t.Helper()
			b, err := logbook.Open(t.Context(), path, quiet())
			require.NoError(t, err)
			require.NotEmpty(t, b.SetAside())
			require.NoError(t, b.Close())
		},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "logbook.db")
			y := damagedYard(t, path)
			y.until("a charge", time.Hour, func(p *bay.Picture) bool { return p.Permit.Granted && p.Charge.Active })
			y.order(bay.Order{ID: "visit-1", Kind: bay.OrderVisitOpen})
			require.NoError(t, y.close())
			bad := spoil(t, path)
			meanwhile(t, path)

			y = damagedYard(t, path)
			y.mustBeHeld()
			require.NoError(t, y.close())
			kept, err := os.ReadFile(path + ".damaged-1")
			require.NoError(t, err)
			require.Equal(t, bad, kept, "not a byte of it is changed")
			for _, bayName := range []string{"bay-1", "bay-2"} {
				require.Contains(t, doubts(t, path)[bayName], path+".damaged-1", bayName)
			}

			y = damagedYard(t, path) // the hold is in the new one
			y.mustBeHeld()
			y.order(bay.Order{ID: "unhold-1", Kind: bay.OrderUnhold})
			y.until("a permit", time.Hour, func(p *bay.Picture) bool { return p.Permit.Granted })
			require.False(t, y.loop.Pictures()[1].Permit.Granted, "only that bay's hold was taken back")
			y.orderAt("bay-2", bay.Order{ID: "unhold-2", Kind: bay.OrderUnhold})
			y.until("a permit of the other", time.Hour, func(*bay.Picture) bool { return y.loop.Pictures()[1].Permit.Granted })
			require.NoError(t, y.close())

			y = damagedYard(t, path) // and its end too
			y.until("a permit after that", time.Hour, func(p *bay.Picture) bool { return p.Permit.Granted && y.loop.Pictures()[1].Permit.Granted })
			require.NoError(t, y.close())
			require.FileExists(t, path+".damaged-1")
			require.NoFileExists(t, path+".damaged-2")
		})
	}
}
