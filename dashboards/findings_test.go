package dashboards_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

var update = flag.Bool("update", false, "write the tests of the alerts that follow a finding")

// findingsFile has the tests of the alerts that do nothing but follow a finding. They are
// written from the rules; what a rule must do is checked by TestEveryFindingRaisesAnAlert.
const findingsFile = "rules/bayward_findings_test.yaml"

var follows = regexp.MustCompile(`^max by \(job, site, agent, instance, bay\) \(bay:bayward_finding:raised\{code=~?"([a-z|-]+)"\}\) == 1$`)

// sampleEvery is the interval of the samples, and raisedAt the time of the first with the finding.
const (
	sampleEvery = 15 * time.Second
	raisedAt    = 4 * sampleEvery
)

// findingTest is the test of one alert on one finding: not for another bay, not before its time, and
// not when the finding is gone.
func findingTest(b *strings.Builder, r *rule, code string, waits time.Duration) {
	lasts := int(waits/sampleEvery) + 3 // samples
	gone := raisedAt + time.Duration(lasts)*sampleEvery
	fmt.Fprintf(b, "\n  - name: %s follows %s\n    interval: 15s\n    input_series:\n", r.Alert, code)
	for bay, values := range []string{fmt.Sprintf("0x3 1x%d 0x8", lasts-1), fmt.Sprintf("0x%d", lasts+12)} {
		fmt.Fprintf(b, "      - { series: 'bayward_finding{job=\"bayward\", instance=\"shed-2\", bay=\"bay-%d\", code=\"%s\"}', values: '%s' }\n", bay+1, code, values)
	}
	b.WriteString("    promql_expr_test:\n")
	firing := fmt.Sprintf(`ALERTS{alertname="%s", alertstate="firing"`, r.Alert)
	silent := func(at time.Duration) {
		fmt.Fprintf(b, "      - { eval_time: %s, expr: '%s}', exp_samples: [] }\n", at, firing)
	}
	silent(raisedAt + waits - sampleEvery)
	for _, at := range []time.Duration{raisedAt + waits, gone - sampleEvery} {
		fmt.Fprintf(b, "      - eval_time: %s\n        expr: %s}\n        exp_samples:\n          - { labels: '%s, severity=\"%s\", job=\"bayward\", instance=\"shed-2\", bay=\"bay-1\"}', value: 1 }\n",
			at, firing, firing, r.Labels["severity"])
	}
	silent(gone)
}

// TestAlertsThatFollowAFinding: the file of their tests is that of the rules.
func TestAlertsThatFollowAFinding(t *testing.T) {
	var b strings.Builder
	b.WriteString("# Tests of the alerts that follow one finding, written by go test ./dashboards -update.\n" +
		"rule_files: [bayward.yaml]\n" + evalOrder + "evaluation_interval: 15s\n\ntests:")
	for _, r := range readRules(t) {
		match := follows.FindStringSubmatch(strings.TrimSpace(r.Expr))
		if match == nil {
			continue
		}
		waits, err := time.ParseDuration(max(r.For, "0s"))
		if err != nil {
			t.Fatalf("%s: %v", r.Alert, err)
		}
		for code := range strings.SplitSeq(match[1], "|") {
			findingTest(&b, &r, code, waits)
		}
	}
	if *update {
		if err := os.WriteFile(findingsFile, []byte(b.String()), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(findingsFile)
	if err != nil || string(got) != b.String() {
		t.Errorf("%s is not that of the rules (%v): go test ./dashboards -update", findingsFile, err)
	}
}

// testFiles are the files of promtool's tests.
func testFiles(t *testing.T) []string {
	t.Helper()
	names, err := filepath.Glob("rules/*_test.yaml")
	if err != nil || len(names) == 0 {
		t.Fatalf("no tests of the rules: %v", err)
	}
	return names
}
