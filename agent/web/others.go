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

// newOtherLine is the line of another agent's bay. A danger stays one when nothing is
// heard any more; anything else that was heard last may have changed since, so it is a
// bay to be asked about, and nobody carries water for it.
func newOtherLine(o *yard.Bay, v words.Voice) workLine {
	b := o.State.Brief(v)
	line := newBriefLine(&b, v)
	line.Name, line.agent = o.Name, o.Agent
	if o.Page != "" {
		line.To = o.Page + "/bays/" + url.PathEscape(o.Name)
	}
	if o.Reach == yard.Heard {
		return line
	}
	line.What, line.Much, line.carryML = v.Say("yard."+reachKeys[o.Reach], o.Agent, line.What), v.Say("yard.never"), 0
	if o.AgeKnown {
		line.Much = v.Say("yard.ago", v.Span(o.Age))
	}
	if line.Urgency != words.Danger {
		line.Urgency = words.Silent
	}
	return line
}

// reachKeys are the ends of the keys of sentences.
var reachKeys = map[yard.Reach]string{yard.Quiet: "quiet", yard.Offline: "offline", yard.NoBroker: "nobroker"}

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
