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

// checker is the compiled verifier of a model.
type checker struct{ dir string }

func newChecker(t *testing.T, model, broken string) checker {
	t.Helper()
	if testing.Short() {
		t.Skip("a model is the same on every machine")
	}
	spin, gcc := tool(t, "spin"), tool(t, "gcc")
	file, err := filepath.Abs(filepath.Join("model", model))
	if err != nil {
		t.Fatal(err)
	}
	c := checker{t.TempDir()}
	args, optimise := []string{"-a"}, "-O2"
	if broken != "" {
		args, optimise = append(args, "-D"+broken, "-DEVENTS=2"), "-O0" // found soon: compiling takes longer
	}
	c.must(t, spin, append(args, file)...)
	c.must(t, gcc, optimise, "-w", "-DNOREDUCE", "-DMEMLIM=512", "-o", "pan", "pan.c") // fairness and d_step: no reduction
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
	log = c.must(t, filepath.Join(c.dir, "pan"), "-a", "-f", "-m200000", "-N", claim)
	count, found := statesLine.FindStringSubmatch(log), errorsLine.FindStringSubmatch(log)
	if count == nil || found == nil {
		t.Fatalf("%s: the verifier prints neither states nor errors:\n%s", claim, log)
	}
	states, _ = strconv.Atoi(count[1])
	wrong, _ = strconv.Atoi(found[1])
	return states, wrong, log
}

// models are the models with the claims that are explored completely; "safe" is all
// those in one that say what never happens.
var models = map[string][]string{
	"relay.pml": {"safe", "opens", "charges"},
	"order.pml": {"safe"},
	"raise.pml": {"safe"},
}

// TestModel explores the models completely: agent, keeper, kernel and contactor; the
// life of an order; how a finding is raised and cleared.
func TestModel(t *testing.T) {
	total := 0
	for model, claims := range models {
		c := newChecker(t, model, "")
		for _, claim := range claims {
			states, wrong, log := c.holds(t, claim)
			if wrong != 0 || cutShort.MatchString(log) {
				t.Errorf("%s: %s does not hold, or was not explored completely:\n%s", model, claim, log)
			}
			total += states
		}
	}
	t.Logf("figure: model states explored %d, errors 0", total)
}

// TestModelNamesLatches: the model of an order is that of a latch, too. Its head names
// the findings that latch, and why it is right for them.
func TestModelNamesLatches(t *testing.T) {
	text, err := os.ReadFile("model/order.pml")
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]bool{}
	for _, row := range latchRow.FindAllStringSubmatch(string(text), -1) {
		rows[row[1]] = true
	}
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if interlock.Table[c].Latches != rows[c.String()] {
			t.Errorf("%v latches %v: the latch rows in the head of model/order.pml disagree", c, interlock.Table[c].Latches)
		}
	}
}

// latchRow matches a line such as " *   latch charge-overrun: ...".
var latchRow = regexp.MustCompile(`(?m)^ \*   latch ([a-z-]+): \S`)

// broken has the claim that fails without each rule of a model.
var broken = map[string]map[string]string{
	"relay.pml": {
		"BROKEN_LEASE": "young", "BROKEN_LATE": "young", "BROKEN_SEQUENCE": "obeys", "BROKEN_ONE": "obeys", "BROKEN_GONE": "alone", "BROKEN_START": "alone",
		"BROKEN_TRIP": "learnt", "BROKEN_LEARN": "learnt", "BROKEN_ORDER": "learnt", "BROKEN_HOLD": "learnt", "BROKEN_BEAT": "opens", "BROKEN_TIMER": "opens",
	},
	"order.pml": {
		"BROKEN_ANSWER": "kept", "BROKEN_EARLY": "kept", "BROKEN_PROMISE": "kept", "BROKEN_WAIT": "prompt", "BROKEN_LOOSEN": "refused", "BROKEN_SLOTS": "trusted",
		"BROKEN_FILE": "kept", "BROKEN_WITNESS": "kept", "BROKEN_COUNT": "noticed", "BROKEN_MISSING": "kept", "BROKEN_LOST": "noticed", "BROKEN_NEW": "kept",
		"BROKEN_DAMAGED": "kept", "BROKEN_EVIDENCE": "kept",
	},
	"raise.pml": {
		"BROKEN_FORGET": "share", "BROKEN_LEAK": "spares", "BROKEN_MISSING": "uninterrupted", "BROKEN_CAP": "fades", "BROKEN_CLEAR": "held",
	},
}

var (
	switches = regexp.MustCompile(`BROKEN_[A-Z]+`)
	claimed  = regexp.MustCompile(`(?m)^ltl ([a-z]+) `)
)

// TestModelBroken removes one rule at a time: a claim must fail. There is a rule for
// every claim.
func TestModelBroken(t *testing.T) {
	for model, rules := range broken {
		text, err := os.ReadFile(filepath.Join("model", model))
		if err != nil {
			t.Fatal(err)
		}
		needed := map[string]bool{"safe": true, "charges": true} // the others together; that something ever happens
		for _, name := range switches.FindAllString(string(text), -1) {
			claim, ok := rules[name]
			if !ok {
				t.Errorf("%s: no claim is named for %s", model, name)
			}
			needed[claim] = true
		}
		for _, claim := range claimed.FindAllStringSubmatch(string(text), -1) {
			if !needed[claim[1]] {
				t.Errorf("%s: no rule is needed for %s", model, claim[1])
			}
		}
		for name, claim := range rules {
			if _, wrong, log := newChecker(t, model, name).holds(t, claim); wrong == 0 {
				t.Errorf("%s, %s: %s still holds:\n%s", model, name, claim, log)
			}
		}
	}
}
