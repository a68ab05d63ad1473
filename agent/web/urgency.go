package web

import (
	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// urgency is what a bay asks of a person. Each has a word and a sign, so that
// nothing is told by colour alone.
type urgency struct {
	rank        int
	Class, Sign string // Class is also the key of its word
}

var (
	isDanger = urgency{0, "danger", "▲"}
	isLook   = urgency{1, "look", "◆"}
	isTodo   = urgency{2, "todo", "●"}
	isPerson = urgency{3, "person", "◐"}
	isHeld   = urgency{4, "held", "■"}
	isRuns   = urgency{5, "runs", "▷"}
	isFine   = urgency{6, "fine", "○"}
)

// CallsPerson tells whether somebody should go there.
func (u urgency) CallsPerson() bool { return u.rank <= isTodo.rank }

// urgencyOf is the first that holds. While a person is at the pack, a danger
// still comes first.
func urgencyOf(p *bay.Picture) urgency {
	worst := interlock.SeverityUnknown
	for code := range p.Findings {
		if p.Findings[code].Raised {
			worst = max(worst, interlock.Table[code].Severity)
		}
	}
	switch {
	case worst == interlock.Danger:
		return isDanger
	case worst == interlock.Warning && p.Stage != bay.Vacant:
		return isLook
	case p.Visit.Open:
		return isPerson
	case p.Stage == bay.ReadyToWater:
		return isTodo
	case p.Findings[interlock.Held].Raised:
		return isHeld
	case p.Stage == bay.Rested || p.Stage == bay.Vacant:
		return isFine
	}
	return isRuns
}
