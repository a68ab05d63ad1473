package deploy_test

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// TestDemoMetrics scrapes the running demo as Prometheus would: promtool must find nothing wrong,
// and every metric that the rules use must be there.
func TestDemoMetrics(t *testing.T) {
	if sources, _ := filepath.Glob("../agent/*.go"); len(sources) == 0 {
		t.Skip("there is no program yet; the builds for every target report that")
	}
	promtool := program(t, "promtool")
	address, _ := startDemo(t)
	var scrape []byte
	assert.EventuallyWithT(t, func(c *assert.CollectT) {
		scrape = get(c, address+"/metrics")
		for _, name := range ruleMetrics(t) {
			if later[name] {
				continue
			}
			sample := regexp.MustCompile(`(?m)^` + name + `[{ ]`)
			assert.Truef(c, sample.Match(scrape), "a rule uses %s, which the demo does not publish", name)
		}
	}, 30*time.Second, 200*time.Millisecond)

	check := exec.CommandContext(t.Context(), promtool, "check", "metrics")
	check.Stdin = bytes.NewReader(scrape)
	if out, err := check.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("promtool check metrics: %v\n%s", err, out)
	}
}

// later lists metrics that the demo lacks: a forecast needs a day of record, which the dashboards'
// test of whole days has, and its page is served without a certificate.
var later = map[string]bool{
	"bayward_water_forecast_seconds": true, "bayward_level_reading_due_seconds": true,
	"bayward_certificate_expiry_timestamp_seconds": true,
}

// program finds a program that a test needs. If it is missing, the test is skipped, or fails under
// deploy/test.
func program(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	switch {
	case err == nil:
		return path
	case os.Getenv("BAYWARD_REQUIRE_TOOLS") != "":
		t.Fatalf("%s is not installed (deploy/test installs it)", name)
	default:
		t.Skipf("%s is not installed (deploy/test installs it)", name)
	}
	return ""
}

// startDemo builds the program, starts its demo on free ports and returns the addresses of its page and
// of its broker.
func startDemo(t *testing.T) (page, broker string) {
	t.Helper()
	binary := filepath.Join(t.TempDir(), "bayward")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", binary, module+"/agent").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	demo := exec.CommandContext(ctx, binary, "demo", "--listen", "127.0.0.1:0", "--broker", "127.0.0.1:0")
	demo.Cancel = func() error { return demo.Process.Signal(syscall.SIGTERM) }
	demo.WaitDelay = 10 * time.Second
	demo.Dir = t.TempDir()
	stdout, err := demo.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	demo.Stderr = demo.Stdout
	if err := demo.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(stdout)
	address, mqtt := regexp.MustCompile(`http://127\.0\.0\.1:[1-9][0-9]*`), regexp.MustCompile(`[a-z]+://127\.0\.0\.1:[1-9][0-9]*`)
	var output strings.Builder
	for lines.Scan() {
		output.WriteString(lines.Text() + "\n")
		if found := address.FindString(lines.Text()); found != "" && page == "" {
			page = found
		}
		if strings.HasPrefix(lines.Text(), "  broker ") {
			broker = mqtt.FindString(lines.Text())
			drained := make(chan struct{})
			go func() { // a full pipe would block the demo's lines
				defer close(drained)
				_, _ = io.Copy(io.Discard, stdout)
			}()
			t.Cleanup(func() {
				cancel()
				<-drained
				_ = demo.Wait()
			})
			return page, broker
		}
	}
	cancel()
	t.Fatalf("the demo exited without printing its addresses (%v):\n%s", demo.Wait(), &output)
	return "", ""
}

// get reads a page; on an error it fails the test and returns nothing.
func get(t assert.TestingT, url string) []byte {
	answer, err := http.Get(url)
	if !assert.NoError(t, err) {
		return nil
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	assert.NoError(t, err)
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	return text
}

// ruleMetrics lists the metrics in the expressions of the Prometheus rules.
func ruleMetrics(t *testing.T) []string {
	t.Helper()
	text, err := os.ReadFile("../dashboards/rules/bayward.yaml")
	if err != nil {
		t.Fatal(err)
	}
	names := regexp.MustCompile(`[( ]bayward_[a-z_]+\b`).FindAllString(string(text), -1)
	if len(names) == 0 {
		t.Fatal("no metric found in the rules: the search is broken")
	}
	seen := map[string]bool{}
	var found []string
	for _, name := range names {
		name = strings.Trim(name, "( ")
		if !seen[name] {
			seen[name] = true
			found = append(found, name)
		}
	}
	return found
}
