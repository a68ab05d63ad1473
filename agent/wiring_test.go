package main

import (
	"bytes"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/logbook"
	"bayward/agent/walk/walktest"
	"bayward/agent/words"
)

// TestWiringCommand runs the command as a person would, from its own process'
// standard input to the file and the record that it leaves.
func TestWiringCommand(t *testing.T) {
	t.Setenv(asProgram, "1")
	path, fragment := configtest.File(t, "c.yaml", configtest.OneBay(t)), filepath.Join(t.TempDir(), "calibration.yaml")
	person := walktest.NewPerson(t)
	in, typed := io.Pipe()
	done := make(chan struct{})
	go func() {
		defer close(done)
		for line := range person.Lines {
			if _, err := io.WriteString(typed, line+"\n"); err != nil {
				return
			}
		}
		_ = typed.Close()
	}()
	var complaints bytes.Buffer
	code := execute(t.Context(), []string{"wiring", "--config", path, "--speed", "1000", "--fragment", fragment}, &program{in, person, &complaints, words.EnglishSI()})
	close(person.Lines)
	<-done
	if code != exitDone || complaints.Len() > 0 {
		t.Fatalf("exit code %d, %s\n%s", code, &complaints, person.Shown())
	}
	typedToo := strings.ReplaceAll(person.Shown(), " > ", " >\n") // the terminal shows the answer's line end
	for i, line := range strings.Split(typedToo, "\n") {
		if n := len([]rune(line)); n > 80 || strings.ContainsAny(line, "\r\x1b\t") {
			t.Errorf("line %d has %d characters or moves the cursor: %q", i+1, n, line)
		}
	}
	inConfiguration(t, fragment)

	code, out, said := bayward(t, "", "wiring", "--config", path, "--last")
	if code != exitDone || said != "" || !strings.Contains(out, "Result: passed; signed by A. Person.") || !strings.Contains(out, "SIMULATED") {
		t.Errorf("--last: %d %s\n%s", code, said, out)
	}
	code, out, _ = bayward(t, "", "wiring", "--config", path, "--last", "--json")
	var rec commission.Record
	if err := json.Unmarshal([]byte(out), &rec); code != exitDone || err != nil || !rec.Signed || len(rec.Steps) != 15 {
		t.Errorf("--last --json: %d, %v\n%s", code, err, out)
	}
	first := firstHardware(t, path)
	for name, row := range map[string]struct {
		args []string
		says string
	}{
		"the table's row is there":      {[]string{"--first-hardware", first}, "not overwritten"},
		"the fragment is there already": {[]string{"--fragment", fragment}, "not overwritten"},
		"nothing to resume":             {[]string{"--resume"}, "no unfinished walk"},
		"no such bay":                   {[]string{"--bay", "bay-9"}, "must be one of bay-1"},
		"too fast":                      {[]string{"--speed", "0"}, "1 to 1000"},
		"json of a walk":                {[]string{"--json"}, "--json needs --last"},
	} {
		code, _, said := bayward(t, "", append([]string{"wiring", "--config", path}, row.args...)...)
		if code != exitUsage || !strings.Contains(said, row.says) {
			t.Errorf("%s: exit code %d, said %q", name, code, said)
		}
	}
}

// firstHardware writes the row of a simulated walk and checks that it can be taken
// for no real bay, and that the figures are those that the simulator assumes.
func firstHardware(t *testing.T, config string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "first.md")
	if code, _, said := bayward(t, "", "wiring", "--config", config, "--first-hardware", path); code != exitDone {
		t.Fatalf("exit code %d, said %q", code, said)
	}
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text, rows := string(raw), 0
	_, row, _ := strings.Cut(text, "| --- | --- | --- | --- | --- |\n")
	row, _, _ = strings.Cut(row, "\n")
	for _, cell := range strings.Split(strings.Trim(row, "| "), " | ") {
		if rows++; !strings.HasPrefix(cell, "SIMULATED: ") {
			t.Errorf("a simulated walk has the cell %q", cell)
		}
	}
	if rows != 5 || !strings.HasPrefix(text, "# SIMULATED") || !strings.Contains(row, "6 of 6 figures within") {
		t.Errorf("%d cells in\n%s", rows, text)
	}
	return path
}

// inConfiguration copies a fragment's values over those of the shipped example
// and checks the outcome: its keys are those of the configuration.
func inConfiguration(t *testing.T, fragment string) {
	t.Helper()
	text, err := os.ReadFile(fragment)
	if err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(example)
	if err != nil {
		t.Fatal(err)
	}
	changed, part, keys := string(whole), "", 0
	for _, line := range strings.Split(string(text), "\n") {
		key, value, ok := strings.Cut(strings.TrimSpace(line), ":")
		switch {
		case strings.HasPrefix(line, "        ") && ok:
			value, _, _ = strings.Cut(value, "#")
			at := strings.Index(changed, "\n      "+part+":")
			end := at + strings.Index(changed[at:], "\n        "+key+":")
			if at < 0 || end < at {
				t.Fatalf("the example has no %s.%s", part, key)
			}
			rest := changed[end+1:]
			_, tail, _ := strings.Cut(rest, "\n")
			changed = changed[:end+1] + "        " + key + ":" + value + "\n" + tail
			keys++
		case strings.HasPrefix(line, "      "):
			part = key
		}
	}
	if keys != 6 {
		t.Errorf("%d values in the fragment, want 6:\n%s", keys, text)
	}
	if _, err := config.Parse("fragment.yaml", []byte(changed)); err != nil {
		t.Errorf("%v\n%s", err, text)
	}
}

// TestWiringBesideAnAgent: an agent has the bays to itself.
func TestWiringBesideAnAgent(t *testing.T) {
	text := configtest.OneBay(t)
	cfg := configtest.Parse(t, text)
	book, err := logbook.Open(t.Context(), cfg.Logbook.Path, assemblytest.Quiet())
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	code, _, said := bayward(t, "", "wiring", "--config", configtest.File(t, "c.yaml", text))
	if code != exitFailed || !strings.Contains(said, "another agent has it open (process ") || !strings.Contains(said, "systemctl stop bayward") {
		t.Errorf("exit code %d, said %q", code, said)
	}
}

// TestWiringHoldAlone: the process that holds the relay does nothing without
// its parent.
func TestWiringHoldAlone(t *testing.T) {
	code, out, said := bayward(t, "", "wiring-hold", "--config", configtest.File(t, "c.yaml", configtest.OneBay(t)), "--bay", "bay-1")
	if code != exitFailed || out != "" || !strings.Contains(said, "which alone may start it") {
		t.Errorf("exit code %d, %q, %q", code, out, said)
	}
}
