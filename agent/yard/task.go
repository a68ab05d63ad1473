package yard

import "bayward/agent/words"

// Line is a bay of another agent as a line of a list.
type Line struct {
	words.Task
	Urgency words.Urgency
	CarryML float64 // water to bring
}

// reachKeys are the ends of the keys of sentences.
var reachKeys = map[Reach]string{Quiet: "quiet", Offline: "offline", NoBroker: "nobroker"}

// Line returns it from a brief of the bay's state. A danger stays one when nothing is
// heard any more; anything else that was heard last may have changed since, so it is a
// bay to be asked about, and nobody carries water for it.
func (b *Bay) Line(brief *words.Brief, v words.Voice) Line {
	line := Line{v.Task(brief), brief.Urgency(), brief.CarryML}
	if b.Reach == Heard {
		return line
	}
	line.What, line.Much, line.CarryML = v.Say("yard."+reachKeys[b.Reach], b.Agent, line.What), v.Say("yard.never"), 0
	if b.AgeKnown {
		line.Much = v.Say("yard.ago", v.Span(b.Age))
	}
	if line.Urgency != words.Danger {
		line.Urgency = words.Silent
	}
	return line
}
