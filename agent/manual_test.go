package main

import (
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
)

// needs skips a test that misses its program, unless deploy/test asked for all.
func needs(t *testing.T, program string) {
	t.Helper()
	if _, err := exec.LookPath(program); err == nil {
		return
	} else if os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
		t.Fatal(err)
	}
	t.Skipf("%s is not installed", program)
}

func model(t *testing.T) *kong.Node {
	t.Helper()
	k, err := kong.New(&cli{}, kong.Name("bayward"), kong.Vars{"version": "test"})
	if err != nil {
		t.Fatal(err)
	}
	return k.Model.Node
}

// TestManualTellsAll: every command that is not hidden, every flag and every
// exit code, in a page that mandoc finds nothing to say about.
func TestManualTellsAll(t *testing.T) {
	code, page, complaints := bayward(t, "", "manual", "--date", "2026-11-25")
	if code != exitDone || complaints != "" {
		t.Fatalf("exit code %d, %q", code, complaints)
	}
	if !strings.HasPrefix(page, ".Dd November 25, 2026\n") {
		t.Errorf("the page does not bear its date: %.40q", page)
	}
	for _, leaf := range model(t).Leaves(true) {
		_, part, found := strings.Cut(page, "\n.Cm "+leaf.Path()+"\n")
		part, _, _ = strings.Cut(part, "\n.It Xo\n")
		if !found {
			t.Errorf("%s is missing", leaf.Path())
		}
		for _, f := range leaf.Flags {
			if !strings.Contains(part, "\n.It Fl -"+f.Name) {
				t.Errorf("%s: --%s is missing", leaf.Path(), f.Name)
			}
		}
	}
	if strings.Contains(page, "Cm manual") {
		t.Error("a hidden command is told")
	}
	needs(t, "mandoc")
	cmd := exec.CommandContext(t.Context(), "mandoc", "-T", "lint", "-W", "style")
	cmd.Stdin = strings.NewReader(page)
	out, _ := cmd.CombinedOutput() // its exit code tells of its findings, which are in the output
	for line := range strings.Lines(string(out)) {
		if !strings.Contains(line, "lacks systemd") && !strings.Contains(line, "lacks systemctl") { // another package's page
			t.Errorf("mandoc: %s", line)
		}
	}
	if code, _, complaints := bayward(t, "", "manual", "--date", "today"); code != exitUsage || !strings.Contains(complaints, "today") {
		t.Errorf("a wrong date: %d, %q", code, complaints)
	}
}
