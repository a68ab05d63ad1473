package web

import (
	"bayward/agent/bay"
	"bayward/agent/words"
)

// packChoice is the part of a page on which a person chooses the plugged-in pack. It
// is shown only for a bay with several packs.
type packChoice struct {
	Several bool
	Title   string
	How     string   // how the pack was identified, or why there is no choice now
	Packs   []string // the choices, none if there is no choice now
	Forget  bool     // the identification can be taken back
	Known   bool
}

func newPackChoice(p *bay.Picture, v words.Voice, may bool) packChoice {
	c := packChoice{Several: len(p.Serves()) > 0, Known: p.Named(), Title: v.Say("pack.which")}
	if c.Known {
		c.Title, c.How = v.Say("pack.this", p.Pack.Name), v.Say("pack."+p.Naming.String())
	}
	switch {
	case !c.Several:
	case p.Stage == bay.Vacant:
		c.How = v.Say("pack.vacant")
	case p.Visit.Open:
		c.How = v.Say("pack.visit")
	case !may:
		c.How = v.Say("pack.may")
	default:
		for _, pack := range p.Serves() {
			if pack.Name != p.Pack.Name {
				c.Packs = append(c.Packs, pack.Name)
			}
		}
		c.Forget = p.Naming == bay.ByPerson
	}
	return c
}
