package terminal

import (
	"strings"
	"unicode/utf8"
)

// width is the number of columns to wrap text to. Plain lines suit an 80-column
// terminal and a screen reader; nothing is ever overwritten.
const width = 78

// Wrap breaks a text into lines for a terminal. It indents the first line by first
// and the others by rest.
func Wrap(first, rest, text string) string {
	var out []string
	line, begun := first, false
	for _, word := range strings.Fields(text) {
		switch {
		case !begun:
			line += word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width:
			out = append(out, line)
			line = rest + word
		default:
			line += " " + word
		}
		begun = true
	}
	return strings.Join(append(out, line), "\n")
}
