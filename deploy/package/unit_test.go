// Package package_test checks the systemd units: that they leave open as little as
// they claim, and that the programs can run within them.
package package_test

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// The two units.
const (
	agent  = "bayward.service"
	keeper = "bayward-keeper.service"
)

var units = []string{agent, keeper}

// needs skips a test whose program is missing, or fails it under deploy/test.
func needs(t *testing.T, programs ...string) {
	t.Helper()
	for _, program := range programs {
		if _, err := exec.LookPath(program); err == nil {
			continue
		} else if os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
			t.Fatal(err)
		}
		t.Skipf("%s is not installed", program)
	}
}

// command runs a program and returns its output, standard error included.
func command(t *testing.T, name string, args ...string) (string, error) {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	return string(out), err
}

// text returns a unit's file.
func text(t *testing.T, unit string) string {
	t.Helper()
	data, err := os.ReadFile(unit)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// setting returns the values of a key of a unit.
func setting(t *testing.T, unit, key string) []string {
	t.Helper()
	var values []string
	for line := range strings.Lines(text(t, unit)) {
		if value, ok := strings.CutPrefix(strings.TrimSpace(line), key+"="); ok {
			values = append(values, value)
		}
	}
	return values
}

// exposure returns an error when systemd rates a unit's exposure above a tenth.
func exposure(t *testing.T, file string, tenths int) error {
	t.Helper()
	out, err := command(t, "systemd-analyze", "security", "--offline=yes", "--no-pager", fmt.Sprint("--threshold=", tenths), file)
	if err != nil {
		return fmt.Errorf("above %d tenths: %w\n%s", tenths, err, out)
	}
	return nil
}

// TestExposure: systemd rates the units as documented, and a unit without its sandbox
// fails.
func TestExposure(t *testing.T) {
	needs(t, "systemd-analyze")
	for unit, tenths := range map[string]int{agent: 15, keeper: 4} {
		if err := exposure(t, "./"+unit, tenths); err != nil {
			t.Error(unit, err)
		}
		for _, key := range []string{"PrivateDevices", "CapabilityBoundingSet", "SystemCallFilter", "ProtectSystem"} {
			weaker := filepath.Join(t.TempDir(), unit)
			without := regexp.MustCompile(`(?m)^`+key+`=.*$`).ReplaceAllString(text(t, unit), "")
			if err := os.WriteFile(weaker, []byte(without), 0o600); err != nil {
				t.Fatal(err)
			}
			if exposure(t, weaker, tenths) == nil {
				t.Errorf("%s passes without %s", unit, key)
			}
		}
	}
}

// TestUnitsAreWellFormed: systemd finds no fault in the units. The programs and their
// manuals are not installed here, so the test replaces their lines.
func TestUnitsAreWellFormed(t *testing.T) {
	needs(t, "systemd-analyze")
	dir := t.TempDir()
	here := strings.NewReplacer("/usr/bin/bayward ", "/bin/true ", "/usr/bin/bayward-keeper ", "/bin/true ",
		"Documentation=man:bayward(1)\n", "", "Documentation=man:bayward-keeper(8)\n", "")
	args := []string{"verify"}
	for _, unit := range units {
		file := filepath.Join(dir, unit)
		if err := os.WriteFile(file, []byte(here.Replace(text(t, unit))), 0o600); err != nil {
			t.Fatal(err)
		}
		args = append(args, file)
	}
	if out, err := command(t, "systemd-analyze", args...); err != nil || out != "" {
		t.Errorf("%v\n%s", err, out)
	}
}

// TestOpenSettingsHaveReasons: each setting that systemd marks as open has its
// reason in the unit.
func TestOpenSettingsHaveReasons(t *testing.T) {
	for unit, reasons := range map[string][]string{
		agent:  {"ProcSubset=", "ProtectClock=", "PrivateNetwork=", "IPAddressDeny=", "adjtimex", "unix socket"},
		keeper: {"PrivateUsers=", "Unix socket", "Group gpio", "GPIO"},
	} {
		for _, open := range reasons {
			if !strings.Contains(text(t, unit), open) {
				t.Errorf("%s gives no reason for leaving %s open", unit, open)
			}
		}
	}
	for unit, keys := range map[string][]string{agent: {"ProcSubset", "ProtectClock", "PrivateNetwork"}, keeper: {"PrivateUsers"}} {
		for _, key := range keys {
			if len(setting(t, unit, key)) > 0 {
				t.Errorf("%s: %s is set, but its comments give reasons for leaving it off", unit, key)
			}
		}
	}
}

// want checks settings of a unit that occur once.
func want(t *testing.T, unit string, all map[string]string) {
	t.Helper()
	for key, value := range all {
		if got := setting(t, unit, key); !slices.Equal(got, []string{value}) {
			t.Errorf("%s: %s=%q, want %s", unit, key, got, value)
		}
	}
}

// TestTimes: the times that documents and the programs rely on.
func TestTimes(t *testing.T) {
	want(t, agent, map[string]string{"WatchdogSec": "10s", "RestartSec": "2s", "TimeoutStopSec": "20s"})
	want(t, keeper, map[string]string{"WatchdogSec": "2s", "RestartSec": "1s", "TimeoutStopSec": "10s"})
	for _, unit := range units {
		want(t, unit, map[string]string{"Restart": "always", "RestartPreventExitStatus": "2", "StartLimitIntervalSec": "0"})
		if !slices.Contains(setting(t, unit, "Environment"), "GOTRACEBACK=crash") {
			t.Errorf("%s: a crash of Go would exit with 2, which is not restarted", unit)
		}
	}
}

// TestKeeperIsApart: the agent starts after the keeper and outlives it. The keeper has
// nothing but the lines, its socket and its folder, and neither network nor record.
func TestKeeperIsApart(t *testing.T) {
	if wants, after := setting(t, agent, "Wants"), setting(t, agent, "After"); !slices.Contains(wants, keeper) || !strings.Contains(strings.Join(after, " "), keeper) {
		t.Errorf("the agent has Wants=%q, After=%q", wants, after)
	}
	for _, key := range []string{"Requires", "BindsTo", "PartOf", "ExecStopPost", "RuntimeDirectory"} {
		if got := setting(t, agent, key); len(got) > 0 {
			t.Errorf("the agent has %s=%q", key, got)
		}
	}
	want(t, keeper, map[string]string{
		"User": "bayward-keeper", "DevicePolicy": "closed", "DeviceAllow": "char-gpiochip rw", "PrivateNetwork": "yes",
		"ProtectSystem": "strict", "InaccessiblePaths": "-/var/lib/bayward -/etc/credstore",
		"CPUSchedulingPolicy": "fifo", "OOMScoreAdjust": "-1000", "LimitMEMLOCK": "infinity", "WatchdogSignal": "SIGKILL",
	})
	for _, key := range []string{"ReadWritePaths", "StateDirectory", "LoadCredential"} {
		if got := setting(t, keeper, key); len(got) > 0 {
			t.Errorf("the keeper has %s=%q", key, got)
		}
	}
}

// TestCrashIsNotWrongInput: the unit depends on this. A Go program that panics
// exits with 2, the code for wrong input, unless GOTRACEBACK=crash is set.
func TestCrashIsNotWrongInput(t *testing.T) {
	if os.Getenv("BAYWARD_PANIC") != "" {
		panic("as asked")
	}
	for setting, want := range map[string]string{"single": "exit status 2", "crash": "signal: aborted"} {
		cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestCrashIsNotWrongInput$")
		cmd.Env = append(os.Environ(), "BAYWARD_PANIC=1", "GOTRACEBACK="+setting)
		err := cmd.Run()
		if err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("GOTRACEBACK=%s: %v, want %s", setting, err, want)
		}
	}
}

// TestSystemCalls traces the real programs, the agent with page, broker and record:
// each unit allows every system call of its programs.
func TestSystemCalls(t *testing.T) {
	if testing.Short() {
		t.Skip("the trace is the same in every run")
	}
	needs(t, "systemd-analyze", "strace")
	dir := t.TempDir()
	bayward, bayKeeper := build(t, dir, "agent"), build(t, dir, "agent/keeper")
	lines := filepath.Join(dir, "lines")
	seen := trace(t, dir, [][]string{
		{bayward, "demo", "--for", "3s", "--listen", "127.0.0.1:0", "--broker", "127.0.0.1:0"},
		append([]string{"timeout", "-s", "TERM", "4"}, bayward, "run", "--config", config(t, dir), "--listen", "127.0.0.1:0"),
	})
	if len(seen) < 30 || !seen["adjtimex"] || !seen["fsync"] && !seen["fdatasync"] {
		t.Fatalf("the trace does not show a complete run of the agent: %v", seen)
	}
	permitted(t, agent, seen)
	seen = trace(t, dir, [][]string{
		{bayward, "lines", "--config", config(t, dir), "--user", "root", "--to", lines},
		{"timeout", "-s", "TERM", "2", bayKeeper, "-socket", filepath.Join(dir, "socket"), lines},
		{bayKeeper, "low", lines},
	})
	if !seen["mlockall"] || !seen["bind"] || !seen["listen"] {
		t.Fatalf("the trace does not show a complete run of the keeper: %v", seen)
	}
	permitted(t, keeper, seen)
}

// build makes a program of ours.
func build(t *testing.T, dir, folder string) (program string) {
	t.Helper()
	program = filepath.Join(dir, filepath.Base(folder))
	build := exec.CommandContext(t.Context(), "go", "build", "-o", program, "../../"+folder)
	build.Env = append(os.Environ(), "CGO_ENABLED=0", "GOFLAGS=-buildvcs=false")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return program
}

// trace returns the system calls of some programs. All must succeed; timeout ends its.
func trace(t *testing.T, dir string, programs [][]string) map[string]bool {
	t.Helper()
	seen, log := map[string]bool{}, filepath.Join(dir, "calls")
	for _, args := range programs {
		out, err := command(t, "strace", append([]string{"-f", "-qq", "-e", "signal=none", "-o", log}, args...)...)
		if err != nil && args[0] != "timeout" {
			t.Fatalf("%v: %v\n%s", args, err, out)
		}
		calls(t, log, seen)
	}
	return seen
}

// permitted checks that a unit allows the calls.
func permitted(t *testing.T, unit string, seen map[string]bool) {
	t.Helper()
	allowed := allowedCalls(t, unit)
	for call := range seen {
		if !allowed[call] {
			t.Errorf("the program calls %s, which %s does not allow", call, unit)
		}
	}
	if allowed["mount"] || allowed["clock_settime"] || allowed["ptrace"] {
		t.Error("the test reads the filter wrongly: it takes a forbidden call as allowed")
	}
	t.Logf("figure: %s system calls in use %d, allowed %d", unit, len(seen), len(allowed))
}

// config writes the simulated bay's configuration, with its record below dir.
func config(t *testing.T, dir string) string {
	t.Helper()
	text, err := os.ReadFile("simulated.yaml")
	if err != nil {
		t.Fatal(err)
	}
	changed := strings.Replace(string(text), "embedded: 127.0.0.1:1883", "broker: tcp://127.0.0.1:1", 1)
	path := filepath.Join(dir, "bayward.yaml")
	if err := os.WriteFile(path, []byte(changed+"logbook:\n  path: "+dir+"/logbook.db\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

var callName = regexp.MustCompile(`^\d+ +(?:<\.\.\. )?([a-z0-9_]+)[ (]`)

func calls(t *testing.T, log string, seen map[string]bool) {
	t.Helper()
	data, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(bytes.NewReader(data))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		if m := callName.FindStringSubmatch(lines.Text()); m != nil {
			seen[m[1]] = true
		}
	}
	if os.Geteuid() == 0 {
		delete(seen, "fchown") // SQLite gives its files to the folder's owner, but only as root
	}
}

// allowedCalls applies a unit's SystemCallFilter= lines from top to bottom.
func allowedCalls(t *testing.T, unit string) map[string]bool {
	t.Helper()
	allowed := map[string]bool{}
	for name := range members(t, "@default") { // always allowed
		allowed[name] = true
	}
	for _, line := range setting(t, unit, "SystemCallFilter") {
		rest, deny := strings.CutPrefix(line, "~")
		for _, word := range strings.Fields(rest) {
			for name := range members(t, word) {
				allowed[name] = !deny
			}
		}
	}
	for name, ok := range allowed {
		if !ok {
			delete(allowed, name)
		}
	}
	return allowed
}

// members resolves a set of system calls; a single call is a set of one.
func members(t *testing.T, word string) map[string]bool {
	t.Helper()
	if !strings.HasPrefix(word, "@") {
		return map[string]bool{word: true}
	}
	out, err := command(t, "systemd-analyze", "syscall-filter", word)
	if err != nil {
		t.Fatalf("%s: %v", word, err)
	}
	all := map[string]bool{}
	for line := range strings.Lines(out) {
		name := strings.TrimSpace(line)
		switch {
		case name == word, name == "", strings.HasPrefix(name, "#"):
		default:
			for inner := range members(t, name) {
				all[inner] = true
			}
		}
	}
	return all
}
