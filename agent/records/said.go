package records

import (
	"bayward/agent/interlock"
	"bayward/agent/logbook"
	"bayward/agent/words"
)

// EventText says in a person's language what happened. What an older program
// kept as a sentence is shown as it was written.
func EventText(v words.Voice, r *logbook.Record) string {
	if r.Text != "" {
		return r.Text
	}
	e := r.Event(r.Stamp.Mono)
	return v.Event(&e)
}

// foundText says why a finding stood; written is the sentence of an older program.
func foundText(v words.Voice, code string, f *logbook.Found, written string) string {
	if written != "" {
		return written
	}
	return v.Evidence(interlock.Lookup(code), f.Numbers())
}
