package commission

import (
	"errors"
	"io"
	"testing"

	"bayward/agent/words"
)

// TestEmptyLineIsNoAnswer: Enter pressed once too often while readings ran past must not
// leave out a step, and no number of them is a yes.
func TestEmptyLineIsNoAnswer(t *testing.T) {
	for _, row := range []struct {
		lines []string
		want  bool
		err   error
	}{
		{[]string{"charger off"}, true, nil},
		{[]string{"", " ", "Charger  OFF"}, true, nil},
		{[]string{"", "yes", "charger off"}, false, nil},
		{[]string{"", "quit"}, false, ErrQuit},
		{[]string{"", "", ""}, false, ErrEnded},
	} {
		lines := make(chan string, len(row.lines))
		for _, line := range row.lines {
			lines <- line
		}
		close(lines)
		c := &Console{Voice: words.EnglishSI(), Out: io.Discard, Lines: lines}
		if got, err := c.confirm(t.Context(), "walk.type.off"); got != row.want || !errors.Is(err, row.err) {
			t.Errorf("%q: %v, %v", row.lines, got, err)
		}
	}
}
