// Package package_test checks the systemd unit: that it leaves open as little as
// it claims, and that the program can run within it.
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

const unit = "bayward.service"

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

// setting returns the values of a key of the unit.
func setting(t *testing.T, key string) []string {
	t.Helper()
	text, err := os.ReadFile(unit)
	if err != nil {
		t.Fatal(err)
	}
	var values []string
	for line := range strings.Lines(string(text)) {
		if value, ok := strings.CutPrefix(strings.TrimSpace(line), key+"="); ok {
			values = append(values, value)
		}
	}
	return values
}

// TestExposure: systemd rates the unit at 1.5, and a unit without its sandbox
// fails.
func TestExposure(t *testing.T) {
	needs(t, "systemd-analyze")
	analyze := func(file string) (string, error) {
		return command(t, "systemd-analyze", "security", "--offline=yes", "--no-pager", "--threshold=15", file)
	}
	if out, err := analyze("./" + unit); err != nil {
		t.Errorf("exposure above 1.5: %v\n%s", err, out)
	}
	text, err := os.ReadFile(unit)
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"PrivateDevices", "CapabilityBoundingSet", "SystemCallFilter", "ProtectSystem"} {
		weaker := filepath.Join(t.TempDir(), unit)
		if err := os.WriteFile(weaker, regexp.MustCompile(`(?m)^`+key+`=.*$`).ReplaceAll(text, nil), 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := analyze(weaker); err == nil {
			t.Errorf("the unit passes without %s:\n%s", key, out)
		}
	}
}

// TestUnitIsWellFormed: systemd finds no fault in the unit. The program and its
// manual are not installed here, so the test replaces their lines.
func TestUnitIsWellFormed(t *testing.T) {
	needs(t, "systemd-analyze")
	text, err := os.ReadFile(unit)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), unit)
	here := strings.NewReplacer("=/usr/bin/bayward ", "=/bin/true ", "Documentation=man:bayward(1)\n", "").Replace(string(text))
	if err := os.WriteFile(file, []byte(here), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := command(t, "systemd-analyze", "verify", file); err != nil || out != "" {
		t.Errorf("%v\n%s", err, out)
	}
}

// TestOpenSettingsHaveReasons: each setting that systemd marks as open has its
// reason in the unit.
func TestOpenSettingsHaveReasons(t *testing.T) {
	text, err := os.ReadFile(unit)
	if err != nil {
		t.Fatal(err)
	}
	for _, open := range []string{"ProcSubset=", "ProtectClock=", "PrivateNetwork=", "IPAddressDeny=", "adjtimex", "unix socket"} {
		if !strings.Contains(string(text), open) {
			t.Errorf("the unit gives no reason for leaving %s open", open)
		}
	}
	for _, key := range []string{"ProcSubset", "ProtectClock", "PrivateNetwork"} {
		if len(setting(t, key)) > 0 {
			t.Errorf("%s is set, but the unit's comments give reasons for leaving it off", key)
		}
	}
}

// TestTimesAgree: the unit has the times that the emulated board's init uses.
func TestTimesAgree(t *testing.T) {
	for key, want := range map[string]string{"WatchdogSec": "10s", "RestartSec": "2s", "TimeoutStopSec": "20s", "Restart": "always", "RestartPreventExitStatus": "2"} {
		if got := setting(t, key); !slices.Equal(got, []string{want}) {
			t.Errorf("%s=%q, want %s", key, got, want)
		}
	}
	env := setting(t, "Environment")
	if !slices.Contains(env, "GOTRACEBACK=crash") {
		t.Error("a crash of Go would exit with 2, which is not restarted")
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

// TestSystemCalls traces the real program, with page, broker and record: the unit
// allows each of its system calls.
func TestSystemCalls(t *testing.T) {
	if testing.Short() {
		t.Skip("the trace is the same in every run")
	}
	needs(t, "systemd-analyze", "strace")
	dir := t.TempDir()
	bayward := filepath.Join(dir, "bayward")
	build := exec.CommandContext(t.Context(), "go", "build", "-o", bayward, "../../agent")
	build.Env = append(os.Environ(), "CGO_ENABLED=0", "GOFLAGS=-buildvcs=false")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	seen := map[string]bool{}
	for i, args := range [][]string{
		{bayward, "demo", "--for", "3s", "--listen", "127.0.0.1:0", "--broker", "127.0.0.1:0"},
		append([]string{"timeout", "-s", "TERM", "4"}, bayward, "run", "--config", config(t, dir), "--listen", "127.0.0.1:0"),
		{bayward, "outputs-safe", "--config", config(t, dir)},
	} {
		log := filepath.Join(dir, fmt.Sprint("calls", i))
		out, err := command(t, "strace", append([]string{"-f", "-qq", "-e", "signal=none", "-o", log}, args...)...)
		if err != nil && args[0] != "timeout" {
			t.Fatalf("%v: %v\n%s", args, err, out)
		}
		calls(t, log, seen)
	}
	if len(seen) < 30 || !seen["adjtimex"] || !seen["fsync"] && !seen["fdatasync"] {
		t.Fatalf("the trace does not show a complete run of the agent: %v", seen)
	}
	allowed := allowedCalls(t)
	for call := range seen {
		if !allowed[call] {
			t.Errorf("the program calls %s, which the unit does not allow", call)
		}
	}
	if allowed["mount"] || allowed["clock_settime"] || allowed["ptrace"] {
		t.Error("the test reads the filter wrongly: it takes a forbidden call as allowed")
	}
	t.Logf("figure: system calls in use %d, allowed %d", len(seen), len(allowed))
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

// allowedCalls applies the unit's SystemCallFilter= lines from top to bottom.
func allowedCalls(t *testing.T) map[string]bool {
	t.Helper()
	allowed := map[string]bool{}
	for name := range members(t, "@default") { // always allowed
		allowed[name] = true
	}
	for _, line := range setting(t, "SystemCallFilter") {
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
