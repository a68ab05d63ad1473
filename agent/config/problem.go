package config

import (
	"fmt"
	"strings"

	"bayward/agent/words"
)

// Problem is one complaint about the file.
type Problem struct {
	File     string
	Line     int    // counted from 1; 0 for the file as a whole
	Field    string // such as bays[0].wiring.voltage.ratio; "" for the file as a whole
	Value    string // as written; "" for none
	Accepted string // the fault, or what is accepted instead, in English
	says     words.Sentence
}

func problem(file string, line int, field, value string, says words.Sentence) Problem {
	return Problem{file, line, field, value, oneLine(words.EnglishSI().Word(says)), says}
}

// say is a sentence of a complaint.
func say(key string, values ...any) words.Sentence { return words.Of("config."+key, values...) }

// fault is a sentence as an error.
func fault(key string, values ...any) error { return say(key, values...).Err() }

// String returns the complaint on one line:
// "FILE:LINE: field F: value V is not accepted: must be …".
func (p Problem) String() string { return p.In(words.EnglishSI()) }

// In is the complaint in a person's language.
func (p Problem) In(v words.Voice) string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d", p.Line)
	}
	b.WriteString(": ")
	if p.Field != "" {
		b.WriteString(v.Say("config.field", p.Field))
	}
	if p.Value != "" {
		b.WriteString(v.Say("config.value", p.shown(v)))
	}
	b.WriteString(oneLine(v.Word(p.says)))
	return b.String()
}

// Values that are described, because they are no scalars.
const (
	someKeys   = "(keys with values)"
	someList   = "(a list)"
	unreadably = "(unreadable)"
)

func (p Problem) shown(v words.Voice) string {
	switch p.Value {
	case someKeys:
		return v.Say("config.value.keys")
	case someList:
		return v.Say("config.value.list")
	case hidden:
		return v.Say("config.value.hidden")
	case unreadably:
		return v.Say("config.value.unreadable")
	}
	return p.Value
}

// Error holds all complaints about one file, in the order of its lines.
type Error struct{ Problems []Problem }

// Error returns one line for each complaint.
func (e *Error) Error() string { return e.In(words.EnglishSI()) }

// In is the same in a person's language.
func (e *Error) In(v words.Voice) string {
	lines := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		lines[i] = p.In(v)
	}
	return strings.Join(lines, "\n")
}
