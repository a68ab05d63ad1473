package web

import (
	"bayward/agent/bay"
	"bayward/agent/words"
)

// packChoice is the part of a page on which a person says which pack is plugged
// in. It is only there for a bay of several packs.
type packChoice struct {
	Several bool
	Title   string
	How     string   // how it is known, or why nothing can be chosen now
	Packs   []string // to choose from, none when nothing can be
	Forget  bool     // what is known can be taken back
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
