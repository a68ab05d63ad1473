package terminal

import (
	"strings"
	"testing"
	"unicode/utf8"
)

func TestWrap(t *testing.T) {
	text := Wrap("- ", "  ", strings.Repeat("electrolyte ", 20)+strings.Repeat("°", width-4))
	for i, line := range strings.Split(text, "\n") {
		indent := map[bool]string{true: "- ", false: "  "}[i == 0]
		if utf8.RuneCountInString(line) > width || !strings.HasPrefix(line, indent) || strings.HasPrefix(line[2:], " ") {
			t.Errorf("%q", line)
		}
	}
	if got := strings.Join(strings.Fields(text), " "); strings.Count(got, "electrolyte") != 20 || strings.Count(text, "\n") != 4 {
		t.Errorf("words or lines are missing:\n%s", text)
	}
	if got := Wrap("  ", "", ""); got != "  " {
		t.Errorf("nothing: %q", got)
	}
}
