package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"

	"go.uber.org/goleak"
)

// asProgram makes the test binary behave as bayward, so that tests can start
// it as a process of its own, with the race detector if they have it.
const asProgram = "BAYWARD_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
		return
	}
	goleak.VerifyTestMain(m)
}

// bayward runs a command as the user would, in this process.
func bayward(t *testing.T, stdin string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, complaints bytes.Buffer
	code = run(t.Context(), args, &program{strings.NewReader(stdin), &out, &complaints})
	return code, out.String(), complaints.String()
}

// file writes a file that lives as long as the test.
func file(t *testing.T, name, text string) string {
	t.Helper()
	path := t.TempDir() + "/" + name
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// onePack is a configuration with one simulated bay, to be changed by replacing
// lines.
func onePack(t *testing.T, replace ...string) string {
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

func cancelled(t *testing.T) (context.Context, context.CancelFunc) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	return ctx, cancel
}
