package words

import "strings"

// SiteAid is where help is at one site: a person who is hurt needs it before anything
// else. What is "" is not known.
type SiteAid struct {
	EmergencyPhone string // of the public service
	SitePhone      string // of the site's own first aid or gate
	Eyewash        string // its place
	Kit            string // the place of the first-aid kit
}

// Known reports whether anything is known.
func (a SiteAid) Known() bool { return a != SiteAid{} }

// Dial returns a phone number as a link dials it.
func (a SiteAid) Dial(phone string) string {
	return strings.Map(func(r rune) rune {
		if r == '+' || r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, phone)
}

// SiteAid writes where help is in one line, "" if nothing is known.
func (v Voice) SiteAid(a SiteAid) string {
	var all []string
	for _, item := range [...]struct{ key, text string }{
		{"emergency", a.EmergencyPhone}, {"phone", a.SitePhone}, {"eyewash", a.Eyewash}, {"kit", a.Kit},
	} {
		if item.text != "" {
			all = append(all, v.Say("aid.site."+item.key)+": "+item.text+".")
		}
	}
	return strings.Join(all, " ")
}
