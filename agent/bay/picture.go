package bay

import "bayward/agent/interlock"

// String is the permit in messages: "granted" or "blocked".
func (p Permit) String() string {
	if p.Granted {
		return "granted"
	}
	return "blocked"
}

// Codes lists the raised findings' names in the order of the table.
func (p *Picture) Codes() []string {
	out := []string{}
	for c := range p.Findings {
		if p.Findings[c].Raised {
			out = append(out, interlock.Code(c).String())
		}
	}
	return out
}

// Clone copies a picture so that it may be kept after the next tick.
func (p *Picture) Clone() *Picture {
	c := *p
	c.Seen.Orders = nil
	return &c
}

// FirstReason is the first blocking finding, in the order of the table, or
// NoCode when none stands.
func (p *Picture) FirstReason() interlock.Code {
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if p.Findings[c].Raised && interlock.Table[c].Blocks {
			return c
		}
	}
	return interlock.NoCode
}
