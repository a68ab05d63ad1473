package web

import (
	"time"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/interlock"
	"bayward/agent/words"
)

// card is a bay as the page shows it. It contains only words and makes no decisions.
type card struct {
	Name         string
	Alone        bool // on a page of its own
	Urgency      words.Urgency
	Since        string
	Contactor    string
	Says         string
	Next, ToDo   string
	Read         string // which cells somebody must read, and by when; "" for none
	Findings     []findingText
	Values       []value
	Water        *words.WaterText
	VisitOpen    bool
	Left         string // how many cells of the visit are left, "" without one
	Forgotten    string // how long an overdue visit has been open, or ""
	WantsVisit   bool
	Unnamed      bool // a pack is plugged in but not identified
	Held         bool
	Releasable   bool // something is latched, or a sensor is doubted
	VisitBy, For string
}

type findingText struct {
	Class, Title, Evidence, For, WhatToDo, Basis string
	Blocks, Latched                              bool
}

type value struct{ Name, Text string }

func newCard(p *bay.Picture, v words.Voice, now time.Time) card {
	c := card{
		Name: p.Bay, Urgency: words.UrgencyOf(p), Says: v.Says(p), Next: v.Next(p), ToDo: v.ToDo(p),
		Since: v.Say("bay.since", v.Say("stage."+p.Stage.String()), v.Span(p.Now-p.StageAt),
			v.Say("permit."+p.Permit.String()), v.Span(p.Now-p.Permit.Since), or(p.Pack.Name, v.Say("pack.none"))),
		Unnamed: !p.Named() && p.Stage != bay.Vacant,
		Read:    v.ReadDue(p), Contactor: contactor(v, p), Held: p.Findings[interlock.Held].Raised, Water: v.Water(p), Values: append(values(p, v), watchdog(p, v, now)...),
		VisitOpen: p.Visit.Open, WantsVisit: words.UrgencyOf(p) == words.Todo || p.Findings[interlock.PlatesBare].Raised || p.Findings[interlock.LevelDoubted].Raised || p.Water.ReadDue,
	}
	if p.Visit.Open {
		c.Left = left(p, v)
		c.VisitBy, c.For = v.People(p.Visit.People), v.Span(p.Now-p.Visit.Since)
		if p.Now-p.Visit.Since > bay.VisitForgottenAfter {
			c.Forgotten = c.For
		}
	}
	for code := range p.Findings {
		if f := &p.Findings[code]; f.Raised {
			c.Findings = append(c.Findings, newFinding(v, p, interlock.Code(code)))
			c.Releasable = c.Releasable || f.Latched
		}
	}
	c.Releasable = c.Releasable || p.OnTrial()
	return c
}

func newFinding(v words.Voice, p *bay.Picture, c interlock.Code) findingText {
	r, f := &interlock.Table[c], &p.Findings[c]
	return findingText{
		Class: r.Severity.String(), Title: words.Capital(v.Title(c)), Evidence: v.Why(p, c),
		For: v.Say("finding.for", v.Span(p.Now-f.Since)), WhatToDo: v.WhatToDo(c, f.Evidence), Basis: r.Basis,
		Blocks: r.Blocks, Latched: f.Latched,
	}
}

// left counts the cells of an open visit that are not done.
func left(p *bay.Picture, v words.Voice) string {
	n := 0
	for i := range p.Pack.Cells {
		if plan := planOf(p, v, i); plan.Bare || !plan.Done && (plan.Adds() || !plan.AddKnown) {
			n++
		}
	}
	switch n {
	case 0:
		return v.Say("visit.left.none")
	case 1:
		return v.Say("visit.left.one")
	}
	return v.Say("visit.left.many", n)
}

func contactor(v words.Voice, p *bay.Picture) string {
	switch r := p.Seen.ContactorClosed; {
	case !r.OK():
		return ""
	case r.Value >= 0.5:
		return v.Say("contactor.closed")
	}
	return v.Say("contactor.open")
}

// values lists the readings that a person looks for, each with its fault if it is
// unknown.
func values(p *bay.Picture, v words.Voice) []value {
	s := &p.Seen
	bad := map[string]string{}
	for _, sensor := range p.Sensors() {
		if !sensor.Reading.OK() {
			bad[sensor.Name] = v.Say("value.unknown", v.Fault(sensor.Reading.Fault))
		}
	}
	all := []value{
		{v.Say("value.level"), or(bad["level"], v.Level(s.Level.LowMM, s.Level.HighMM))},
		{v.Say("value.temperature"), or(bad["pack-temperature"], v.Temperature(s.PackC.Value))},
		{v.Say("value.voltage"), or(bad["pack-voltage"], v.Figure(s.PackV.Value, 2, "V"))},
	}
	if text, isBad := bad["pack-current"]; isBad || s.CurrentA.OK() {
		all = append(all, value{v.Say("value.current"), or(text, v.Figure(s.CurrentA.Value, 1, "A"))})
	}
	if s.AmbientC.OK() {
		all = append(all, value{v.Say("value.air"), v.Temperature(s.AmbientC.Value)})
	}
	if p.Charge.SocKnown {
		all = append(all, value{v.Say("value.soc"), v.Figure(100*p.Charge.Soc, 0, "%")})
	}
	return append(append(all, advice(v, p)...), outlook(v, p)...)
}

// advice lists what a person should look into. It grants and blocks nothing.
func advice(v words.Voice, p *bay.Picture) []value {
	var all []value
	if d := p.Charge.Doubt; d != charge.NoDoubt {
		all = append(all, value{v.Say("value.doubt"), v.Say("doubt." + d.String())})
	}
	if due := p.Charge.Equalize.Due; due != charge.NotDue {
		all = append(all, value{v.Say("value.equalize"), v.Say("equalize." + due.String())})
	}
	return all
}

// watchdog reports the relay that alone opens when the Pi hangs.
func watchdog(p *bay.Picture, v words.Voice, now time.Time) []value {
	w := p.Watchdog()
	if w == (bay.Watchdog{}) {
		return nil
	}
	return []value{{v.Say("value.watchdog"), v.Watchdog(w, now)}}
}

func outlook(v words.Voice, p *bay.Picture) []value {
	var all []value
	if c := &p.Cool; p.Stage == bay.Cooling && c.ReadyKnown {
		all = append(all, value{v.Say("value.ready"), v.Say("value.range", v.Span(c.ReadyIn), v.Span(c.ReadyEarly), v.Span(c.ReadyLate))})
	}
	if w := &p.Water; w.ForecastOK {
		all = append(all, value{v.Say("value.lasts"), v.Say("value.range", v.Hours(w.ForecastH), v.Hours(w.ForecastLo), v.Hours(w.ForecastHi))})
	}
	if w := &p.Water; w.LostLikelyML >= 1 {
		all = append(all, value{v.Say("value.lost"), v.Say("value.range", v.Volume(w.LostLikelyML), v.Volume(w.LostLoML), v.Volume(w.LostHiML))})
	}
	return all
}

func or(fault, text string) string {
	if fault != "" {
		return fault
	}
	return text
}
