package web

import (
	"strings"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// Voice words what is sent to people, in the language and units of the site.
type Voice struct{ v view }

// NewVoice takes a language of Languages, "" for the first, and "si" or "us".
func NewVoice(language, units string) Voice {
	langs := newLangs()
	l := langs[language]
	if l == nil {
		l = langs[Languages()[0]]
	}
	return Voice{view{l, units == "us"}}
}

// Cautions are those that stand with every message.
func (o Voice) Cautions() string { return o.v.say("app.cautions") }

// Notice words a notice of a kind by what a picture shows: title, text and
// what to do. A settled one asks for nothing.
func (o Voice) Notice(kind string, settled bool, p *bay.Picture) (title, text, whatToDo string) {
	v := o.v
	title = v.say("notice."+kind+".title", p.Bay)
	if settled {
		return v.say("notice.settled", title), v.says(p), ""
	}
	switch kind {
	case "water-soon":
		w := &p.Water
		return title, v.say("notice.water-soon.text", v.span(hours(w.ForecastH)), v.span(hours(w.ForecastLo)), v.span(hours(w.ForecastHi))), v.say("notice.water-soon.do")
	case "visit-forgotten":
		return title, v.say("notice.visit-forgotten.text", p.Visit.By, v.span(p.Now-p.Visit.Since)), v.say("notice.visit-forgotten.do")
	case "ready-to-water":
		return title, v.says(p) + v.cells(p), v.say("do.water")
	case "contactor-stuck":
		return o.finding(title, interlock.ContactorStuck, p)
	case "cover-plates":
		title, text, whatToDo = o.finding(title, interlock.PlatesBare, p)
		return title, text + v.cells(p), whatToDo
	}
	return o.finding(title, p.FirstReason(), p)
}

func (o Voice) finding(title string, c interlock.Code, p *bay.Picture) (string, string, string) {
	return title, capital(o.v.title(c)) + ". " + o.v.explain(c, p.Findings[c].Evidence), o.v.whatToDo(c)
}

// cells lists the water of each cell.
func (v view) cells(p *bay.Picture) string {
	w := newWater(p, v)
	switch {
	case w == nil:
		return ""
	case w.Each != "":
		return " " + w.Title + ". " + w.Each + "."
	}
	lines := make([]string, len(w.Cells))
	for i, c := range w.Cells {
		lines[i] = c.Name + ": " + c.Text
	}
	return " " + w.Title + ". " + strings.Join(lines, "; ") + "."
}

// Round words the daily round of a yard: a line for each bay, what a person
// must do first.
func (o Voice) Round(site, agent string, pictures []*bay.Picture) (title, text string) {
	var cards []card
	var lines []string
	for _, p := range pictures {
		if p == nil {
			continue
		}
		c := newCard(p, o.v)
		cards = append(cards, c)
		lines = append(lines, c.Name+": "+o.v.say("urgency."+c.Urgency.Class)+". "+c.Says+o.v.cells(p))
	}
	return o.v.say("notice.round.title", site, agent), summary(cards, o.v) + "\n\n" + strings.Join(lines, "\n")
}
