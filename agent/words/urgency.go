package words

import (
	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// Urgency is how urgently a bay needs a technician. Each has a word and a sign,
// so colour alone never carries the meaning.
type Urgency struct {
	Rank        int    // 0 comes first
	Class, Sign string // Class is also the key of its word
}

// The urgencies.
var (
	Danger = Urgency{0, "danger", "▲"}
	Look   = Urgency{1, "look", "◆"}
	Todo   = Urgency{2, "todo", "●"}
	AtPack = Urgency{3, "person", "◐"}
	OnHold = Urgency{4, "held", "■"}
	Runs   = Urgency{5, "runs", "▷"}
	Fine   = Urgency{6, "fine", "○"}
)

// CallsPerson reports whether a technician should go there.
func (u Urgency) CallsPerson() bool { return u.Rank <= Todo.Rank }

// UrgencyOf returns the first urgency that applies. While a technician is at the
// pack, a danger still comes first.
func UrgencyOf(p *bay.Picture) Urgency {
	severity := interlock.Table[worst(p)].Severity
	switch {
	case severity == interlock.Danger:
		return Danger
	case severity == interlock.Warning && p.Stage != bay.Vacant:
		return Look
	case p.Visit.Open:
		return AtPack
	case p.Findings[interlock.Held].Raised:
		return OnHold
	case p.Stage == bay.ReadyToWater:
		return Todo
	case p.Stage == bay.Rested || p.Stage == bay.Vacant:
		return Fine
	}
	return Runs
}

// worst returns the first of the most severe findings, NoCode when there is none.
func worst(p *bay.Picture) (c interlock.Code) {
	for code := range p.Findings {
		if p.Findings[code].Raised && interlock.Table[code].Severity > interlock.Table[c].Severity {
			c = interlock.Code(code)
		}
	}
	return c
}
