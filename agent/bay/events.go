package bay

import (
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// state is what a tick's events are compared against, besides the findings: permit
// finds those that changed.
type state struct {
	granted      bool
	stage        Stage
	active, full bool // the charge
	charges      uint64
}

func stateOf(p *Picture) state {
	return state{
		granted: p.Permit.Granted, stage: p.Stage,
		active: p.Charge.Active, full: p.Charge.Full, charges: p.Charge.Charges,
	}
}

// appendChanges appends an event for each change, in a fixed order: the findings
// that were raised or cleared, permit, charge, stage.
func (was *state) appendChanges(events []Event, p *Picture, findings interlock.Codes) []Event {
	is := stateOf(p)
	if findings == 0 && is == *was {
		return events
	}
	add := func(e Event) {
		e.At = p.Now
		events = append(events, e)
	}
	for c := range findings.All() {
		add(findingEvent(c, &p.Findings[c]))
	}
	if is.granted != was.granted {
		add(permitEvent(p))
	}
	if is.active && (!was.active || is.charges != was.charges) {
		add(Event{Kind: ChargeStarted})
	}
	if is.full && !was.full {
		add(Event{Kind: ChargeFull, Proof: p.Charge.Evidence})
	}
	if was.active && !is.active {
		add(endEvent(p))
	}
	if is.stage != was.stage {
		add(stageEvent(was.stage, p))
	}
	return events
}

func findingEvent(c interlock.Code, f *Finding) Event {
	if f.Raised {
		return Event{Kind: FindingRaised, Code: c, Evidence: f.Evidence}
	}
	return Event{Kind: FindingCleared, Code: c}
}

func permitEvent(p *Picture) Event {
	if p.Permit.Granted {
		return Event{Kind: PermitGranted}
	}
	c := p.FirstReason()
	return Event{Kind: PermitBlocked, Code: c, Evidence: p.Findings[c].Evidence}
}

func endEvent(p *Picture) Event {
	c := &p.Charge
	e := Event{Kind: ChargeEnded, Ago: p.Now - c.EndedAt, InAh: c.InAh, InAhKnown: p.has.Fitted.Has(reading.PackCurrent)}
	if c.Full {
		e.Proof = c.Evidence
	}
	return e
}

func stageEvent(from Stage, p *Picture) Event {
	e := Event{Kind: StageChanged, Stage: p.Stage, From: from}
	switch p.Stage {
	case Cooling:
		e.WaitingFor = p.Cool.WaitingFor
		if !p.Cool.Cool && e.WaitingFor == cooldown.NothingLeft {
			e.WaitingFor = cooldown.MinimumRest // still on charge: the rest has not begun
		}
	case ReadyToWater:
		e.WaterML = p.Water.WholeML()
	default:
	}
	return e
}
