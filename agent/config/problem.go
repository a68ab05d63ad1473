package config

import (
	"fmt"
	"strings"
)

// Problem is one complaint about the file.
type Problem struct {
	File     string
	Line     int    // counted from 1; 0 for the file as a whole
	Field    string // such as bays[0].wiring.voltage.ratio; "" for the file as a whole
	Value    string // as written; "" for none
	Accepted string // the fault, or what is accepted instead
}

// String returns the complaint on one line:
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

// Error holds all complaints about one file, in the order of its lines.
type Error struct{ Problems []Problem }

// Error returns one line for each complaint.
func (e *Error) Error() string {
	lines := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}
