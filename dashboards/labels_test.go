package dashboards_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"bayward/agent/bay"
	"bayward/agent/reading"
)

// The demo's own bays and packs, from agent/demo/demo.yaml.
const demoBays, demoCells = 4, 12

// allowed returns the values that each label may have: names from the configuration, or rows of a
// fixed table. A label from anything else (an error's text, a person's name) would grow forever.
func allowed() map[string][]string {
	faults := []string{reading.Missing.String()}
	for _, f := range reading.Faults() {
		faults = append(faults, f.String())
	}
	var stages []string
	for s := bay.StageUnknown + 1; s < bay.NumStages; s++ {
		stages = append(stages, s.String())
	}
	return map[string][]string{
		"bay": {"bay-1", "bay-2", "bay-3", "bay-4"}, "pack": {"lift-a", "lift-b", "lift-c", "lift-d"},
		"code": codes(), "stage": stages, "fault": faults,
		"sensor": {
			"pack-voltage", "pack-current", "pack-temperature", "ambient-temperature", "level", "hydrogen", "airflow",
			"contactor-feedback", "charger-complete",
		},
		"cell":  {"1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12"},
		"limit": {"charge", "fill-mark", "vent-well", "watering"},
	}
}

// labelsAreBounded checks everything scraped in two days: only allowed labels, and no more series for
// a bay than its tables have rows.
func labelsAreBounded(t *testing.T, r record) {
	label, values := regexp.MustCompile(`([a-z]+)="([^"]*)"`), allowed()
	perBay, agent := map[string]int{}, 0
	for name := range r {
		at := ""
		for _, m := range label.FindAllStringSubmatch(name, -1) {
			switch ok := values[m[1]]; {
			case m[1] == "bay":
				at = m[2]
				fallthrough
			case ok != nil:
				if !slices.Contains(ok, m[2]) {
					t.Errorf("%s: %s=%q is neither configured nor in a fixed table", name, m[1], m[2])
				}
			case m[1] == "le", strings.HasPrefix(name, "bayward_build_info{"), strings.HasPrefix(name, "bayward_page_info{"):
			default:
				t.Errorf("%s: nothing is known to bound the label %s", name, m[1])
			}
		}
		if at == "" {
			agent++
		} else {
			perBay[at]++
		}
	}
	if len(perBay) != demoBays {
		t.Fatalf("series of %d bays: the search is broken", len(perBay))
	}
	most := 0
	for _, n := range perBay {
		most = max(most, n)
	}
	t.Logf("figure: series of one bay of %d cells, at most %d in two days; of an agent besides %d", demoCells, most, agent)
	// dashboards/README.md calculates with 96 and 35; up and the process's memory come on top here.
	if most > 96 || agent > 40 {
		t.Errorf("%d series for a bay, %d for an agent besides: the sizes in dashboards/README.md are too small", most, agent)
	}
}
