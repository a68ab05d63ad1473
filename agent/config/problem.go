package config

import (
	"fmt"
	"strings"
)

// Problem is one complaint about the file.
type Problem struct {
	File     string
	Line     int    // 1 is the first; 0 when the file as a whole is meant
	Field    string // such as bays[0].wiring.voltage.ratio; "" for the file as a whole
	Value    string // as written; "" when there is none
	Accepted string // what is wrong, or what is accepted instead
}

// String is the complaint in one line:
// "FILE:LINE: field F: value V is not accepted: must be …".
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d", p.Line)
	}
	b.WriteString(": ")
	if p.Field != "" {
		fmt.Fprintf(&b, "field %s: ", p.Field)
	}
	if p.Value != "" {
		fmt.Fprintf(&b, "value %s is not accepted: ", p.Value)
	}
	b.WriteString(p.Accepted)
	return b.String()
}

// Error is all complaints about one file, in the order of its lines.
type Error struct{ Problems []Problem }

// Error has one line for each complaint.
func (e *Error) Error() string {
	lines := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}
