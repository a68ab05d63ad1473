package deploy_test

import (
	"os"
	"strings"
	"testing"
)

// TestRealBays: while the table of real bays is empty, the README and the guides say
// that no real bay has run the program; no row is of a simulated walk.
func TestRealBays(t *testing.T) {
	const head = "| board | kernel | parts | date | what was seen |\n| --- | --- | --- | --- | --- |\n"
	const none = "| none yet | | | | |"
	read := func(path string) string {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	_, table, ok := strings.Cut(read("../README.md"), head)
	if !ok {
		t.Fatal("the README has no table of real bays")
	}
	table, _, _ = strings.Cut(table, "\n\n")
	for _, row := range strings.Split(table, "\n") {
		if strings.Contains(strings.ToLower(row), "simulated") || strings.Count(row, "|") != 6 {
			t.Errorf("not a row of a real bay: %s", row)
		}
	}
	for _, path := range []string{"../README.md", "wiring.md", "converters.md", "first-hardware.md"} {
		says := strings.Contains(read(path), "No real bay has run it yet")
		if says != (table == none) {
			t.Errorf("%s says that no real bay has run it: %v; the table is %q", path, says, table)
		}
	}
	if found, err := os.ReadFile("../agent/walk/first.go"); err != nil || !strings.Contains(string(found), strings.SplitN(head, "\n", 2)[0]) {
		t.Errorf("bayward wiring --first-hardware writes other columns: %v", err)
	}
}
