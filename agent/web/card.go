package web

import (
	"fmt"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// card is a bay as the page shows it: words only, no more decisions.
type card struct {
	Name         string
	Alone        bool // on a page of its own
	Urgency      urgency
	Since        string
	Contactor    string
	Says         string
	Next, ToDo   string
	Findings     []findingText
	Values       []value
	Water        *waterText
	VisitOpen    bool
	Forgotten    string // how long a visit is open that should be closed, or ""
	WantsVisit   bool
	Unnamed      bool // a pack is there and it is not known which
	Held         bool
	Latched      bool
	VisitBy, For string
}

type findingText struct {
	Class, Title, Evidence, For, WhatToDo, Basis string
	Blocks, Latched                              bool
}

type value struct{ Name, Text string }

func newCard(p *bay.Picture, v view) card {
	c := card{
		Name: p.Bay, Urgency: urgencyOf(p), Says: v.says(p), Next: v.next(p), ToDo: v.toDo(p),
		Since: v.say("bay.since", v.say("stage."+p.Stage.String()), v.span(p.Now-p.StageAt),
			v.say("permit."+p.Permit.String()), v.span(p.Now-p.Permit.Since), or(p.Pack.Name, v.say("pack.none"))),
		Unnamed:   !p.Named() && p.Stage != bay.Vacant,
		Contactor: v.contactor(p), Held: p.Findings[interlock.Held].Raised, Water: newWater(p, v), Values: values(p, v),
		VisitOpen: p.Visit.Open, WantsVisit: urgencyOf(p) == isTodo || p.Findings[interlock.PlatesBare].Raised,
	}
	if p.Visit.Open {
		c.VisitBy, c.For = p.Visit.By, v.span(p.Now-p.Visit.Since)
		if p.Now-p.Visit.Since > bay.VisitForgottenAfter {
			c.Forgotten = c.For
		}
	}
	for code := range p.Findings {
		if f := &p.Findings[code]; f.Raised {
			c.Findings = append(c.Findings, v.finding(interlock.Code(code), f, p.Now))
			c.Latched = c.Latched || f.Latched
		}
	}
	return c
}

func (v view) finding(c interlock.Code, f *bay.Finding, now time.Duration) findingText {
	r := &interlock.Table[c]
	return findingText{
		Class: r.Severity.String(), Title: capital(v.title(c)), Evidence: v.explain(c, f.Evidence),
		For: v.say("finding.for", v.span(now-f.Since)), WhatToDo: v.whatToDo(c), Basis: r.Basis,
		Blocks: r.Blocks, Latched: f.Latched,
	}
}

func (v view) contactor(p *bay.Picture) string {
	switch r := p.Seen.ContactorClosed; {
	case !r.OK():
		return ""
	case r.Value >= 0.5:
		return v.say("contactor.closed")
	}
	return v.say("contactor.open")
}

// values are the readings that a person looks for, each with its fault where
// it is not known.
func values(p *bay.Picture, v view) []value {
	s := &p.Seen
	bad := map[string]string{}
	for _, sensor := range p.Sensors() {
		if !sensor.Reading.OK() {
			bad[sensor.Name] = v.say("value.unknown", v.fault(sensor.Reading.Fault))
		}
	}
	all := []value{
		{v.say("value.level"), or(bad["level"], v.level(s.Level.LowMM, s.Level.HighMM))},
		{v.say("value.temperature"), or(bad["pack-temperature"], v.temperature(s.PackC.Value))},
		{v.say("value.voltage"), or(bad["pack-voltage"], fmt.Sprintf("%.2f V", s.PackV.Value))},
	}
	if text, isBad := bad["pack-current"]; isBad || s.CurrentA.OK() {
		all = append(all, value{v.say("value.current"), or(text, reading.Digits(s.CurrentA.Value, 1)+" A")})
	}
	if s.AmbientC.OK() {
		all = append(all, value{v.say("value.air"), v.temperature(s.AmbientC.Value)})
	}
	if p.Charge.SocKnown {
		all = append(all, value{v.say("value.soc"), fmt.Sprintf("%.0f %%", 100*p.Charge.Soc)})
	}
	return append(append(all, v.advice(p)...), v.outlook(p)...)
}

// advice is what a person should look into; it grants and blocks nothing.
func (v view) advice(p *bay.Picture) []value {
	var all []value
	if d := p.Charge.Doubt; d != charge.NoDoubt {
		all = append(all, value{v.say("value.doubt"), v.say("doubt." + d.String())})
	}
	if due := p.Charge.Equalize.Due; due != charge.NotDue {
		all = append(all, value{v.say("value.equalize"), v.say("equalize." + due.String())})
	}
	return all
}

func (v view) outlook(p *bay.Picture) []value {
	var all []value
	if c := &p.Cool; p.Stage == bay.Cooling && c.ReadyKnown {
		all = append(all, value{v.say("value.ready"), v.say("value.range", v.span(c.ReadyIn), v.span(c.ReadyEarly), v.span(c.ReadyLate))})
	}
	if w := &p.Water; w.ForecastOK {
		all = append(all, value{v.say("value.lasts"), v.say("value.range", v.span(hours(w.ForecastH)), v.span(hours(w.ForecastLo)), v.span(hours(w.ForecastHi)))})
	}
	if p.Water.LostML >= 1 {
		all = append(all, value{v.say("value.lost"), v.volume(p.Water.LostML)})
	}
	return all
}

func or(fault, text string) string {
	if fault != "" {
		return fault
	}
	return text
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
