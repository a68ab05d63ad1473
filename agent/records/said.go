package records

import (
	"bayward/agent/interlock"
	"bayward/agent/logbook"
	"bayward/agent/words"
)

// EventText returns what happened as a sentence in the voice's language. A sentence
// stored by an older program is returned as written.
func EventText(v words.Voice, r *logbook.Record) string {
	if r.Text != "" {
		return r.Text
	}
	e := r.Event(r.Stamp.Mono)
	return v.Event(&e)
}

// foundText returns why a finding was raised; written is the sentence of an older
// program.
func foundText(v words.Voice, code string, f *logbook.Found, written string) string {
	if written != "" {
		return written
	}
	return v.Evidence(interlock.Lookup(code), f.Numbers())
}
