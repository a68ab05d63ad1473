// Package configtest makes configurations for tests.
package configtest

import (
	"os"
	"strings"
	"testing"

	"bayward/agent/config"
)

// File writes a file that is removed after the test.
func File(t testing.TB, name, text string) string {
	t.Helper()
	path := t.TempDir() + "/" + name
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// OneBay returns a configuration with one simulated bay, changed by replacing pieces
// of it: old, new, old, new. Unless it is replaced, LOGBOOK is a file that is
// removed after the test.
func OneBay(t *testing.T, replace ...string) string {
	t.Helper()
	const text = `site: quarry-road
agent: shed-9
sensors: simulated
http:
  listen: 127.0.0.1:0
logbook:
  path: LOGBOOK
bays:
  - name: bay-1
    pack: lift-a
packs:
  - name: lift-a
    cells: 12
    capacity_ah: 225
    rate_hours: 20
    full_gravity: 1.277
    charge_level_mm: 3
    fill_mark_mm: 13
    vent_well_mm: 22
    free_surface_cm2: 130
    electrolyte_ml: 1350
limits:
  settle_seconds: 5
  off_min_seconds: 5
`
	for i := 0; i < len(replace); i += 2 {
		if !strings.Contains(text, replace[i]) && replace[i] != "LOGBOOK" {
			t.Fatalf("there is no %q to replace", replace[i])
		}
	}
	changed := strings.NewReplacer(replace...).Replace(text)
	return strings.ReplaceAll(changed, "LOGBOOK", t.TempDir()+"/logbook.db")
}

// Parse reads a configuration that must be valid.
func Parse(t *testing.T, text string) *config.Config {
	t.Helper()
	cfg, err := config.Parse("test.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return cfg
}
