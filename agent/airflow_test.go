package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bayward/agent/airflow"
	"bayward/agent/words"
)

// airflowOf runs the command on a file with an unregulated 48 V charger of
// 100 A, the published example, and one of which nothing is known.
func airflowOf(t *testing.T, charger string, args ...string) (code int, out, complaint string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "c.yaml")
	text := `site: quarry-road
agent: shed-2
sensors: simulated
bays:
  - name: bay-1
    pack: lift-48v
` + charger + `packs:
  - name: lift-48v
    cells: 24
    capacity_ah: 500
    full_gravity: 1.28
    charge_level_mm: 3
    fill_mark_mm: 13
    vent_well_mm: 22
    free_surface_cm2: 260
`
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	var stdout, stderr bytes.Buffer
	code = execute(t.Context(), append([]string{"airflow", "--config", file}, args...), &program{strings.NewReader(""), &stdout, &stderr, words.EnglishSI()})
	return code, stdout.String(), stderr.String()
}

// TestAirflowOfThePublishedExample: 48 V traction battery on an unregulated
// charger of 100 A needs 48.4 m³/h by EN 50272-3 (Italian safety page applying the
// standard); its successor has 0.055 for 0.0504, so 52.8.
func TestAirflowOfThePublishedExample(t *testing.T) {
	code, out, complaint := airflowOf(t, "    charger: {curve: unregulated, rated_a: 100}\n", "--json")
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, complaint)
	}
	var r airflow.Report
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	if got := r.Value(airflow.Airflow); math.Abs(got-48.4*0.055/0.0504) > 0.02*got {
		t.Errorf("%.2f m³/h, want 52.8", got)
	}
	if len(r.Bays) != 1 || r.Bays[0].Bay != "bay-1" || r.Bays[0].Assumed != "" || len(r.Cautions) == 0 {
		t.Errorf("got %+v", r)
	}
	for _, f := range append(r.Bays[0].Figures, r.Room...) {
		if f.Formula == "" || f.PutIn == "" || f.Basis == "" || !(f.Value > 0) {
			t.Errorf("%s has no derivation: %+v", f.Name, f)
		}
	}
}

// TestAirflowSaysWhatItAssumes, and refuses a file that is wrong.
func TestAirflowSaysWhatItAssumes(t *testing.T) {
	code, out, complaint := airflowOf(t, "")
	if code != exitDone || !strings.Contains(out, "Assumed: charger characteristic") || !strings.Contains(out, "qualified electrician") {
		t.Errorf("exit %d %s:\n%s", code, complaint, out)
	}
	code, out, complaint = airflowOf(t, "    charger: {curve: fast}\n")
	if code != exitUsage || out != "" || !strings.Contains(complaint, "must be iu, iui, taper, unregulated or unknown") {
		t.Errorf("exit %d, %q, %q", code, out, complaint)
	}
}
