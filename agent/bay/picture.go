package bay

import "bayward/agent/interlock"

// String returns the permit in messages: "granted" or "blocked".
func (p Permit) String() string {
	if p.Granted {
		return "granted"
	}
	return "blocked"
}

// Codes returns the names of the raised findings in the order of the table.
func (p *Picture) Codes() []string {
	out := []string{}
	for c := range p.Findings {
		if p.Findings[c].Raised {
			out = append(out, interlock.Code(c).String())
		}
	}
	return out
}

// Clone returns a copy of a picture that may be kept after the next tick.
func (p *Picture) Clone() *Picture {
	c := *p
	c.Seen.Orders = nil
	return &c
}

// FirstReason returns the first blocking finding in the order of the table, or
// NoCode when there is none.
func (p *Picture) FirstReason() interlock.Code {
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if p.Findings[c].Raised && interlock.Table[c].Blocks {
			return c
		}
	}
	return interlock.NoCode
}
