package dashboards_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// epoch is when the recorded days begin, in Unix seconds: 2026-03-02 00:00 UTC. Records have the
// demo's time, not the real time, so that an hour in a rule is an hour of charging.
const epoch = 1772409600

// point is a value at seconds after the epoch.
type point struct {
	at    int64
	value string
}

// record holds series by name and labels, as Prometheus writes them.
type record map[string][]point

// program finds a program that a test needs. If it is missing, the test is skipped, or fails under
// deploy/test.
func program(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil && os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
		t.Fatalf("%s is not installed (deploy/test installs it)", name)
	}
	if err != nil {
		t.Skipf("%s is not installed (deploy/test installs it)", name)
	}
	return path
}

// buildAgent builds the program under test.
func buildAgent(t *testing.T) string {
	t.Helper()
	binary := filepath.Join(t.TempDir(), "bayward")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", binary, "bayward/agent").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	return binary
}

// begin starts a program, waits until it prints a line that matches, and returns the pattern's group.
// The program ends with the test, or by stop.
func begin(t *testing.T, pattern, name string, args ...string) (found string, stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.WithoutCancel(t.Context()))
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	cmd.WaitDelay = 20 * time.Second
	cmd.Dir = t.TempDir()
	out, in := io.Pipe()
	cmd.Stdout, cmd.Stderr = in, in
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = in.CloseWithError(cmd.Wait())
	}()
	stop = func() { cancel(); <-ended }
	t.Cleanup(stop)
	lines, output := bufio.NewScanner(out), ""
	for lines.Scan() {
		output += lines.Text() + "\n"
		if m := regexp.MustCompile(pattern).FindStringSubmatch(lines.Text()); m != nil {
			go func() { _, _ = io.Copy(io.Discard, out) }() // a full pipe would block the program
			return m[1], stop
		}
	}
	t.Fatalf("%s exited without printing %q:\n%s", filepath.Base(name), pattern, output)
	return "", nil
}

// scraped matches the metrics that rules and boards use.
var scraped = regexp.MustCompile(`(?m)^((?:bayward_|process_resident_memory_bytes)[^ ]*(?: [^ ]+="[^"]*")*) (\S+)$`)

// ticks matches the demo's own clock: one tick for each simulated second.
var ticks = regexp.MustCompile(`(?m)^bayward_tick_duration_seconds_count (\S+)$`)

// recordDemo runs the demo and scrapes it about once a minute of its own time, from minute 15 on,
// until that many hours are recorded. The first minutes pass so fast that events in them may fall
// between two scrapes.
func recordDemo(t *testing.T, agent string, hours int64, args ...string) record {
	t.Helper()
	address, stop := begin(t, `(http://127\.0\.0\.1:[0-9]+)/metrics`, agent,
		append([]string{"demo", "--speed", "1800", "--listen", "127.0.0.1:0", "--broker", "127.0.0.1:0"}, args...)...)
	defer stop()
	const first = 15 * 60
	rec, last := record{}, int64(first-60)
	look := time.NewTicker(4 * time.Millisecond)
	defer look.Stop()
	for last < first+hours*3600 {
		<-look.C
		page := get(t, address+"/metrics")
		m := ticks.FindSubmatch(page)
		if m == nil {
			continue
		}
		now, err := strconv.ParseFloat(string(m[1]), 64)
		if err != nil {
			t.Fatal(err)
		}
		if int64(now) < last+58 {
			continue
		}
		last = int64(now)
		rec.add(last-first, page)
	}
	return rec
}

func (r record) add(at int64, page []byte) {
	for _, m := range scraped.FindAllSubmatch(page, -1) {
		name := string(m[1])
		r[name] = append(r[name], point{at, string(m[2])})
	}
	r["up"] = append(r["up"], point{at, "1"})
}

// fill adds minutes where the recorder, not the agent, was too slow: on a busy machine six of the
// demo's minutes pass in a tenth of a second. Counters rise evenly, other values stay. A series that
// was absent before or after such a gap stays absent. It returns how many minutes it added.
func (r record) fill() (minutes int) {
	gaps := map[int64]int64{} // from the scrape before to the one after
	for i, p := range r["up"][1:] {
		if before := r["up"][i].at; p.at-before > 90 {
			gaps[before] = p.at
			minutes += int(p.at-before-30) / 60
		}
	}
	for name, points := range r {
		var out []point
		for i, p := range points {
			out = append(out, p)
			if after, ok := gaps[p.at]; ok && i+1 < len(points) && points[i+1].at == after {
				out = append(out, between(name, p, points[i+1])...)
			}
		}
		r[name] = out
	}
	return minutes
}

var counted = regexp.MustCompile(`_(total|count|sum|bucket)(\{|$)`)

func between(name string, a, b point) []point {
	var out []point
	low, err1 := strconv.ParseFloat(a.value, 64)
	high, err2 := strconv.ParseFloat(b.value, 64)
	for at := a.at + 60; at < b.at-30; at += 60 {
		value := a.value
		if counted.MatchString(name) && err1 == nil && err2 == nil {
			value = strconv.FormatFloat(low+(high-low)*float64(at-a.at)/float64(b.at-a.at), 'g', -1, 64)
		}
		// A scrape may meet the relay a tick before the permit. That must not last for a minute
		// that nobody recorded, so there the relay is closed only if it was so at both ends.
		switch {
		case strings.HasPrefix(name, "bayward_relay_closed{") && err1 == nil && err2 == nil:
			value = strconv.FormatFloat(min(low, high), 'g', -1, 64)
		case strings.HasPrefix(name, "bayward_charge_permitted{") && err1 == nil && err2 == nil:
			value = strconv.FormatFloat(max(low, high), 'g', -1, 64)
		}
		out = append(out, point{at, value})
	}
	return out
}

// with adds the labels that Prometheus gives a target, and moves the record in time.
func (r record) with(site, agent string, by int64) record {
	out, labels := record{}, fmt.Sprintf(`job="bayward",instance="%s.local:8080",site="%s",agent="%s"`, agent, site, agent)
	for name, points := range r {
		name, own, _ := strings.Cut(strings.TrimSuffix(name, "}"), "{")
		if own != "" {
			own = "," + own
		}
		moved := make([]point, len(points))
		for i, p := range points {
			moved[i] = point{p.at + by, p.value}
		}
		out[name+"{"+labels+own+"}"] = moved
	}
	return out
}

// since keeps the points from a time on.
func (r record) since(at int64) record {
	out := record{}
	for name, points := range r {
		i, _ := slices.BinarySearchFunc(points, at, func(p point, at int64) int { return int(p.at - at) })
		if i < len(points) {
			out[name] = points[i:]
		}
	}
	return out
}

// thin keeps every other scrape, including the last.
func (r record) thin() record {
	out := record{}
	for name, points := range r {
		for i, p := range points {
			if i%2 == (len(points)-1)%2 {
				out[name] = append(out[name], p)
			}
		}
	}
	return out
}

// names returns the sorted names, so that the same record gives the same file.
func (r record) names() []string {
	names := make([]string, 0, len(r))
	for name := range r {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// openMetrics writes records in the format from which promtool makes Prometheus's own storage.
func openMetrics(t *testing.T, path string, records ...record) {
	t.Helper()
	var text bytes.Buffer
	for _, r := range records {
		for _, name := range r.names() {
			for _, p := range r[name] {
				fmt.Fprintf(&text, "%s %s %d\n", name, p.value, epoch+p.at)
			}
		}
	}
	text.WriteString("# EOF\n")
	if err := os.WriteFile(path, text.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

// get reads a page.
func get(t *testing.T, url string) []byte {
	t.Helper()
	answer, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s, %v\n%.300s", url, answer.Status, err, text)
	}
	return text
}

// run runs a program until it exits and returns its output.
func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%.3000s", filepath.Base(name), err, out)
	}
	return string(out)
}
