package bay

import (
	"fmt"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// state is what the events of a tick compare with.
type state struct {
	raised       interlock.Codes
	granted      bool
	stage        Stage
	active, full bool // the charge
	charges      uint64
}

func stateOf(p *Picture) state {
	s := state{
		granted: p.Permit.Granted, stage: p.Stage,
		active: p.Charge.Active, full: p.Charge.Full, charges: p.Charge.Charges,
	}
	for c := range p.Findings {
		if p.Findings[c].Raised {
			s.raised |= 1 << c
		}
	}
	return s
}

// appendChanges adds an event for each thing that has changed, in a fixed order:
// findings, permit, charge, stage.
func (was *state) appendChanges(events []Event, p *Picture) []Event {
	is := stateOf(p)
	if is == *was {
		return events
	}
	add := func(e Event) {
		e.At = p.Now
		events = append(events, e)
	}
	for c := range (is.raised ^ was.raised).All() {
		add(findingEvent(c, &p.Findings[c]))
	}
	if is.granted != was.granted {
		add(permitEvent(p))
	}
	if is.active && (!was.active || is.charges != was.charges) {
		add(Event{Kind: ChargeStarted, Text: "Charging current flows."})
	}
	if is.full && !was.full {
		add(Event{Kind: ChargeFull, Text: "Proven full by " + p.Charge.Evidence.String() + "."})
	}
	if was.active && !is.active {
		add(Event{Kind: ChargeEnded, Text: endText(p)})
	}
	if is.stage != was.stage {
		add(Event{Kind: StageChanged, Stage: is.stage, From: was.stage, Text: p.stageSays()})
	}
	return events
}

func findingEvent(c interlock.Code, f *Finding) Event {
	if f.Raised {
		return Event{Kind: FindingRaised, Code: c, Text: interlock.Explain(c, f.Evidence)}
	}
	return Event{Kind: FindingCleared, Code: c, Text: "No longer: " + interlock.Table[c].Title + "."}
}

func permitEvent(p *Picture) Event {
	if p.Permit.Granted {
		return Event{Kind: PermitGranted, Text: "Nothing speaks against a charge."}
	}
	c := p.FirstReason()
	return Event{Kind: PermitBlocked, Code: c, Text: interlock.Explain(c, p.Findings[c].Evidence)}
}

func endText(p *Picture) string {
	c, how := &p.Charge, "before it was proven full"
	if c.Full {
		how = "proven full"
	}
	if p.has.Fitted.Has(reading.PackCurrent) {
		return fmt.Sprintf("The charge ended %s ago, %s, with %.0f Ah.", round(p.Now-c.EndedAt), how, c.InAh)
	}
	return fmt.Sprintf("The charge ended %s ago, %s.", round(p.Now-c.EndedAt), how)
}
