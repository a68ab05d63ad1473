package words

import (
	"cmp"
	"strings"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// NoticeTitle returns the title of a kind of notice for a bay.
func (v Voice) NoticeTitle(kind string, settled bool, bayName string) string {
	title := v.Say("notice."+kind+".title", bayName)
	if settled {
		return v.Say("notice.settled", title)
	}
	return title
}

// Notice returns the text of a kind of notice, from what a picture shows. A
// settled one asks for no action.
func (v Voice) Notice(kind string, settled bool, p *bay.Picture) (text, whatToDo string) {
	if settled {
		return v.Says(p), ""
	}
	switch kind {
	case "water-soon":
		w := &p.Water
		return v.Say("notice.water-soon.text", v.Hours(w.ForecastH), v.Hours(w.ForecastLo), v.Hours(w.ForecastHi)), v.Say("notice.water-soon.do")
	case "visit-forgotten":
		return v.Say("notice.visit-forgotten.text", cmp.Or(p.Visit.People.Names(), p.Visit.By), v.Span(p.Now-p.Visit.Since)), v.Say("notice.visit-forgotten.do")
	case "ready-to-water":
		return spaced(v.Says(p), v.Readings(p)) + v.cells(p), v.toWater(p)
	case "levels-due":
		return v.readRound(p), v.Say("notice.levels-due.do")
	case "pack-warm":
		return v.finding(interlock.PackWarm, p)
	case "hydrogen-warning":
		return v.finding(interlock.HydrogenWarning, p)
	case "contactor-stuck":
		return v.finding(interlock.ContactorStuck, p)
	case "cover-plates":
		text, whatToDo = v.finding(interlock.PlatesBare, p)
		return text + v.cells(p), whatToDo
	}
	text, whatToDo = v.finding(p.FirstReason(), p)
	if p.FirstReason() == interlock.LevelDoubted {
		text = spaced(text, v.Readings(p))
	}
	return text, whatToDo
}

// spaced joins sentences, the second of which may be "".
func spaced(a, b string) string { return strings.TrimSpace(a + " " + b) }

func (v Voice) finding(c interlock.Code, p *bay.Picture) (text, whatToDo string) {
	return Capital(v.Title(c)) + ". " + v.Why(p, c), v.WhatToDo(c, p.Findings[c].Evidence)
}

// cells lists the water of each cell.
func (v Voice) cells(p *bay.Picture) string {
	w := v.Water(p)
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

// OtherBay is a bay of another agent in the daily round.
type OtherBay struct {
	Name, Agent string
	Urgency     Urgency
	Task        Task
}

// Round returns the text of a yard's daily round: a line for each bay, with what
// a technician must do first; those of other agents after the agent's own.
func (v Voice) Round(site, agent string, pictures []*bay.Picture, others []OtherBay) (title, text string) {
	var lines []string
	call := 0
	for _, p := range pictures {
		if p == nil {
			continue
		}
		u := UrgencyOf(p)
		if u.CallsPerson() {
			call++
		}
		lines = append(lines, p.Bay+": "+v.Say("urgency."+u.Class)+". "+spaced(spaced(v.Says(p), v.ReadDue(p)), v.Unrecorded(p))+v.cells(p))
	}
	for i := range others {
		o := &others[i]
		if o.Urgency.CallsPerson() {
			call++
		}
		lines = append(lines, o.Name+" · "+o.Agent+": "+v.Say("urgency."+o.Urgency.Class)+". "+spaced(o.Task.What+".", o.Task.Much))
	}
	return v.Say("notice.round.title", site, agent), v.Summary(call) + "\n\n" + strings.Join(lines, "\n")
}

// Summary states how many bays need a technician.
func (v Voice) Summary(n int) string {
	switch n {
	case 0:
		return v.Say("sum.none")
	case 1:
		return v.Say("sum.one")
	}
	return v.Say("sum.many", n)
}
