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
	Silent = Urgency{4, "silent", "?"} // of another agent that cannot be heard
	OnHold = Urgency{5, "held", "■"}
	Runs   = Urgency{6, "runs", "▷"}
	Fine   = Urgency{7, "fine", "○"}
)

// CallsPerson reports whether a technician should go there.
func (u Urgency) CallsPerson() bool { return u.Rank <= Todo.Rank }

// UrgencyOf returns the urgency of a bay of this agent.
func UrgencyOf(p *bay.Picture) Urgency {
	b := Brief{
		Stage: p.Stage, Severity: interlock.Table[worst(p)].Severity,
		Visit: p.Visit.Open, Held: p.Findings[interlock.Held].Raised,
	}
	return b.Urgency()
}

// Urgency returns the first urgency that applies. While a technician is at the pack, a
// danger still comes first.
func (b *Brief) Urgency() Urgency {
	switch {
	case b.Severity == interlock.Danger:
		return Danger
	case b.Severity == interlock.Warning && b.Stage != bay.Vacant:
		return Look
	case b.Visit:
		return AtPack
	case b.Held:
		return OnHold
	case b.Stage == bay.ReadyToWater:
		return Todo
	case b.Stage == bay.Rested || b.Stage == bay.Vacant:
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
