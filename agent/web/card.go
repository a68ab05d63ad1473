package web

import (
	"fmt"
	"math"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// card is a bay as the page shows it: words only, no more decisions.
type card struct {
	Name, Pack        string
	Alone             bool // on a page of its own
	Urgency           urgency
	Stage, StageFor   string
	Permit, PermitFor string
	Contactor         string
	Says              string
	Findings          []findingText
	Values            []value
	Water             *waterText
	Visit             *visitText
	VisitHint         string
	Held, Latched     bool
}

type findingText struct {
	bay.FindingView
	For string
}

type value struct{ Name, Text string }

func newCard(p *bay.Picture, unitsName string) card {
	v, u := p.View(), unitsOf(unitsName)
	c := card{
		Name: p.Bay, Pack: v.Pack, Urgency: urgencyOf(p), Says: v.Says,
		Stage: capital(strings.ReplaceAll(v.Stage, "-", " ")), StageFor: span(p.Now - p.StageAt),
		Permit: v.Permit, PermitFor: span(p.Now - p.Permit.Since), Contactor: contactor(p),
		Held: p.Findings[interlock.Held].Raised, Water: newWater(p, u), VisitHint: visitHint(p),
	}
	for _, f := range v.Findings {
		f.Title = capital(f.Title)
		c.Findings = append(c.Findings, findingText{f, span(time.Duration(f.ForS * float64(time.Second)))})
		c.Latched = c.Latched || f.Latched
	}
	c.Values = values(p, u)
	if p.Visit.Open {
		c.Visit = newVisit(p)
	}
	return c
}

func contactor(p *bay.Picture) string {
	switch r := p.Seen.ContactorClosed; {
	case !r.OK():
		return ""
	case r.Value >= 0.5:
		return "closed"
	}
	return "open"
}

func visitHint(p *bay.Picture) string {
	switch p.Stage {
	case bay.ReadyToWater:
		return "The pack is full, rested and cool: give each cell the water named above. Opening locks the charge out."
	case bay.Rested:
		return "The pack needs no water now. Opening locks the charge out."
	default:
		return "The pack is not full, rested and cool: a visit now is only for covering bare plates, with the least water that does. Opening locks the charge out."
	}
}

// values are the readings that a person looks for, each with its fault where
// it is not known.
func values(p *bay.Picture, u units) []value {
	s := &p.Seen
	names := map[string]string{}
	for _, sensor := range p.Sensors() {
		if !sensor.Reading.OK() {
			names[sensor.Name] = "not known: " + sensor.Reading.Fault.Text()
		}
	}
	all := []value{
		{"Cover above plates", or(names["cover"], u.cover(s.Cover.LowMM, s.Cover.HighMM))},
		{"Pack temperature", or(names["pack-temperature"], u.temperature(s.PackC.Value))},
		{"Pack voltage", or(names["pack-voltage"], fmt.Sprintf("%.2f V", s.PackV.Value))},
	}
	if text, bad := names["pack-current"]; bad || s.CurrentA.OK() {
		all = append(all, value{"Current", or(text, fmt.Sprintf("%.1f A", zeroed(s.CurrentA.Value)))})
	}
	if s.AmbientC.OK() {
		all = append(all, value{"Air", u.temperature(s.AmbientC.Value)})
	}
	if p.Charge.SocKnown {
		all = append(all, value{"State of charge", fmt.Sprintf("%.0f %%", 100*p.Charge.Soc)})
	}
	if p.Stage == bay.Cooling && p.Cool.ReadyKnown {
		all = append(all, value{"Ready in", fmt.Sprintf("%s (%s to %s)", span(p.Cool.ReadyIn), span(p.Cool.ReadyEarly), span(p.Cool.ReadyLate))})
	}
	if p.Water.ForecastOK {
		all = append(all, value{"Water lasts", span(time.Duration(p.Water.ForecastH * float64(time.Hour)))})
	}
	return all
}

func or(fault, text string) string {
	if fault != "" {
		return fault
	}
	return text
}

// zeroed has no "-0.0".
func zeroed(v float64) float64 {
	if math.Abs(v) < 0.05 {
		return 0
	}
	return v
}

// span says a duration as people do; a negative one is none.
func span(d time.Duration) string {
	d = max(0, d)
	const day = 24 * time.Hour
	switch {
	case d < time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	case d < time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 2*day:
		return fmt.Sprintf("%d h %02d min", int(d.Hours()), int(d.Minutes())%60)
	}
	return fmt.Sprintf("%d days", int(min(d, 10000*day)/day))
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
