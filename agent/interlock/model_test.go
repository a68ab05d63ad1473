package interlock_test

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"bayward/agent/interlock"
)

// tool finds a program; without it the test is skipped, or fails where every tool
// is required.
func tool(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
		t.Fatalf("%s is not installed: %v", name, err)
	}
	t.Skipf("%s is not installed", name)
	return ""
}

// checker is the compiled verifier of the model.
type checker struct{ dir string }

func newChecker(t *testing.T, broken string) checker {
	t.Helper()
	spin, gcc := tool(t, "spin"), tool(t, "gcc")
	model, err := filepath.Abs("model/relay.pml")
	if err != nil {
		t.Fatal(err)
	}
	c := checker{t.TempDir()}
	args := []string{"-a"}
	if broken != "" {
		args = append(args, "-D"+broken)
	}
	c.must(t, spin, append(args, model)...)
	c.must(t, gcc, "-O2", "-w", "-DNOREDUCE", "-DMEMLIM=512", "-o", "pan", "pan.c") // fairness and d_step: no reduction
	return c
}

func (c checker) must(t *testing.T, name string, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), name, args...)
	cmd.Dir = c.dir
	out, err := cmd.CombinedOutput()
	exit := (*exec.ExitError)(nil)
	found := errors.As(err, &exit) && filepath.Base(name) == "pan" // its exit code says so too
	if err != nil && !found {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}

var (
	statesLine = regexp.MustCompile(`(?m)^\s*(\d+) states, stored`)
	errorsLine = regexp.MustCompile(`errors: (\d+)`)
	cutShort   = regexp.MustCompile(`max search depth too small|out of memory|Warning: Search not completed`)
)

// holds explores the model completely for one claim.
func (c checker) holds(t *testing.T, claim string) (states, wrong int, log string) {
	t.Helper()
	log = c.must(t, filepath.Join(c.dir, "pan"), "-a", "-f", "-m1000000", "-N", claim)
	count, found := statesLine.FindStringSubmatch(log), errorsLine.FindStringSubmatch(log)
	if count == nil || found == nil {
		t.Fatalf("%s: the verifier prints neither states nor errors:\n%s", claim, log)
	}
	states, _ = strconv.Atoi(count[1])
	wrong, _ = strconv.Atoi(found[1])
	return states, wrong, log
}

var claims = []string{"young", "prompt", "kept", "opens", "charges"}

// TestModel explores the model of relay, guard, loop and restart completely.
func TestModel(t *testing.T) {
	c := newChecker(t, "")
	total := 0
	for _, claim := range claims {
		states, wrong, log := c.holds(t, claim)
		if wrong != 0 || cutShort.MatchString(log) {
			t.Errorf("%s does not hold, or was not explored completely:\n%s", claim, log)
		}
		total += states
	}
	t.Logf("figure: model states explored %d, errors 0", total)
}

// TestModelNamesLatches: the model has one latch for all. Its head names the
// findings it is for, and why it is right for them.
func TestModelNamesLatches(t *testing.T) {
	text, err := os.ReadFile("model/relay.pml")
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]bool{}
	for _, row := range latchRow.FindAllStringSubmatch(string(text), -1) {
		rows[row[1]] = true
	}
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if interlock.Table[c].Latches != rows[c.String()] {
			t.Errorf("%v latches %v: the latch rows in the head of model/relay.pml disagree", c, interlock.Table[c].Latches)
		}
	}
}

// latchRow matches a line such as " *   latch charge-overrun: ...".
var latchRow = regexp.MustCompile(`(?m)^ \*   latch ([a-z-]+): \S`)

// TestModelBroken removes one part at a time: a claim must fail.
func TestModelBroken(t *testing.T) {
	for broken, claim := range map[string]string{
		"BROKEN_GUARD": "young", "BROKEN_START": "young", "BROKEN_MEMORY": "kept", "BROKEN_BOTH": "opens", "BROKEN_TIMER": "opens",
	} {
		if _, wrong, log := newChecker(t, broken).holds(t, claim); wrong == 0 {
			t.Errorf("%s: %s still holds:\n%s", broken, claim, log)
		}
	}
}
