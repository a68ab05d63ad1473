package web

import (
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"bayward/agent/order"
)

// form is one form of a page: what a person typed and what is wrong with it. A page
// shows the form it was sent again, filled in, with each fault beside its box. The
// zero value is an empty form.
type form struct {
	Action string // which of the page's forms it is
	ID     string // of its order: sent twice, it does nothing the second time
	values url.Values
	Faults []fault  // in the order of the boxes
	status int      // of the answer; 0 while nothing is wrong
	Unsure bool     // whether it was recorded is not known
	Asks   []string // questions to confirm before it is recorded
	// InForce says that its order was taken and is not on record yet, "" otherwise.
	InForce string
}

// fault is one thing that is wrong with a form.
type fault struct {
	Box   string // its name; "" if no box is at fault
	Label string // of the box
	Text  string
	At    string // id of the box on the page, set by Wrong
}

// Summary returns the fault as the list at the top of the page shows it.
func (f fault) Summary() string {
	if f.Label == "" {
		return f.Text
	}
	return f.Label + ": " + f.Text
}

// wrong notes a fault. The status of the first fault is that of the answer.
func (f *form) wrong(status int, box, label, text string) {
	if f.status == 0 {
		f.status = status
	}
	f.Faults = append(f.Faults, fault{Box: box, Label: label, Text: text, At: when(box != "", f.at(box))})
}

// Title heads the list of faults: the key of its text.
func (f form) Title() string {
	switch marked := slices.ContainsFunc(f.Faults, func(w fault) bool { return w.At != "" }); {
	case f.Unsure:
		return "form.unsure"
	case marked:
		return "form.wrong"
	}
	return "form.refused"
}

// ask notes a question: the form is recorded when a person sends it again as sure.
func (f *form) ask(text string) {
	f.status = http.StatusConflict
	f.Asks = append(f.Asks, text)
}

// fine reports whether nothing is wrong so far.
func (f *form) fine() bool { return f.status == 0 }

func (f *form) at(box string) string { return f.Action + "-" + box }

// As returns this form if it is the named one, else an empty one: a page has several
// forms, of which one was sent.
func (f form) As(action string) form {
	if f.Action == action {
		return f
	}
	return form{Action: action, ID: newID()}
}

// Value returns what was typed into a box.
func (f form) Value(name string) string { return f.values.Get(name) }

// Chose reports whether a choice was made; usual is the one made in an empty form.
func (f form) Chose(name, value string, usual bool) bool {
	if !f.values.Has("action") {
		return usual
	}
	return f.Value(name) == value
}

// Fault returns what is wrong with a box, "" if nothing is.
func (f form) Fault(name string) string {
	for _, w := range f.Faults {
		if w.Box == name {
			return w.Text
		}
	}
	return ""
}

// Box returns a box for a text.
func (f form) Box(name, label string) input {
	return input{ID: f.at(name), Name: name, Label: label, Value: f.Value(name), Fault: f.Fault(name), Mode: "text", Most: mostTyped}
}

// Number returns a box for a number in a unit. Its keyboard has digits only, except
// where a fraction or a minus sign may be needed.
func (f form) Number(name, label, unit string) input {
	b := f.Box(name, label)
	if b.Unit = unit; unit != "in" && !strings.HasPrefix(unit, "°") {
		b.Mode = "decimal"
	}
	return b
}

// Amount returns a box for a volume, with the step of its buttons.
func (f form) Amount(name, label, unit string) input {
	b := f.Number(name, label, unit)
	if b.Step = 10; unit != "ml" {
		b.Step = 0.5
	}
	return b
}

// Long returns the box for a sentence instead of a number or a name.
func (b input) Long() input {
	b.Most = order.MaxNoteRunes
	return b
}

// Tick returns a box to tick.
func (f form) Tick(name, label string) input { return f.Box("ok-"+name, label) }

// Hidden returns all that was typed, to be sent again with the answer to a question.
func (f form) Hidden() (all []input) {
	for _, name := range slices.Sorted(maps.Keys(f.values)) {
		if name != "sure" {
			all = append(all, input{Name: name, Value: f.Value(name)})
		}
	}
	return all
}

// mostTyped is the longest number that a person writes, with its unit.
const mostTyped = 24

// input is one box for typing.
type input struct {
	ID, Name, Label, Unit, Value, Fault string
	Mode                                string // which keyboard a phone shows
	Most                                int    // characters
	Step                                float64
}

// signer is the part of a form that asks who sends it.
type signer struct {
	Ask    bool // the name is not known yet
	Who    string
	People bool
	Box    input
}

// Signer returns the box for the name.
func (b base) Signer(f form, label string) signer {
	s := signer{Ask: b.AskName, Who: b.Who, People: b.People, Box: f.Box("by", label)}
	s.Box.Most = order.MaxNameRunes
	if typed := strings.TrimSpace(s.Box.Value); s.Box.Fault != "" || typed != "" && typed != s.Who {
		s.Ask = !s.People
	}
	if s.Box.Value == "" {
		s.Box.Value = s.Who
	}
	return s
}
