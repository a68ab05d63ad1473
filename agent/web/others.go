package web

import (
	"cmp"
	"net/url"
	"strings"

	"bayward/agent/words"
	"bayward/agent/yard"
)

// Others tells what the site's other agents publish about their bays. It is for lists
// only: no order and no decision rests on it.
type Others interface {
	// Bays returns their bays as last heard.
	Bays() []yard.Bay
	// Deaf reports that the broker does not deliver what they publish.
	Deaf() bool
	// Dropped reports that there is more than can be kept.
	Dropped() bool
}

// otherLines are the lines of the other agents' bays.
func (s *server) otherLines(v words.Voice) (lines []workLine) {
	if s.Others == nil {
		return nil
	}
	bays := s.Others.Bays()
	for i := range bays {
		line := newOtherLine(&bays[i], v)
		if line.To != "" && s.gate != nil {
			line.To = "/go/" + url.PathEscape(bays[i].Agent) + "/" + url.PathEscape(bays[i].Name) // signs in there, too
		}
		lines = append(lines, line)
	}
	return lines
}

// newOtherLine is the line of another agent's bay.
func newOtherLine(o *yard.Bay, v words.Voice) workLine {
	b := o.State.Brief(v)
	said := o.Line(&b, v)
	line := newBriefLine(&b, v)
	line.Name, line.agent = o.Name, o.Agent
	line.Task, line.Urgency, line.carryML = said.Task, said.Urgency, said.CarryML
	if o.Page != "" {
		line.To = o.Page + "/bays/" + url.PathEscape(o.Name)
	}
	return line
}

// otherNotes says why bays of other agents may be missing.
func (s *server) otherNotes(v words.Voice) (notes []string) {
	if s.Others == nil {
		return nil
	}
	if s.Others.Deaf() {
		notes = append(notes, v.Say("yard.deaf"))
	}
	if s.Others.Dropped() {
		notes = append(notes, v.Say("yard.dropped"))
	}
	return notes
}

// byName orders lines as people count: bay-2 before bay-10.
func byName(a, b workLine) int {
	wordA, numberA := counted(a.Name)
	wordB, numberB := counted(b.Name)
	return cmp.Or(cmp.Compare(wordA, wordB), cmp.Compare(len(numberA), len(numberB)), cmp.Compare(numberA, numberB), cmp.Compare(a.agent, b.agent))
}

// counted splits a name into what stands before its first number, and the rest.
func counted(name string) (word, number string) {
	i := strings.IndexAny(name, "0123456789")
	if i < 0 {
		return name, ""
	}
	return name[:i], name[i:]
}

// nameApart adds the agent to the names of bays of which there are several, and gives the
// lines of other agents' bays ids of their own.
func nameApart(lines []workLine) {
	count := map[string]int{}
	for i := range lines {
		count[lines[i].Name]++
	}
	for i := range lines {
		l := &lines[i]
		if l.agent == "" {
			continue
		}
		l.ID = l.agent + "/" + l.Name
		if count[l.Name] > 1 {
			l.Name += " · " + l.agent
		}
	}
}
