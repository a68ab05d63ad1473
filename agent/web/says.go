package web

import (
	"strconv"

	"bayward/agent/bay"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
)

// says tells in one sentence what the bay is doing and why, as bay.Says does
// in English.
func (v view) says(p *bay.Picture) string {
	s := v.stageSays(p)
	if p.Permit.Granted || p.Stage == bay.Watering {
		return s
	}
	if c := p.FirstReason(); c != interlock.NoCode && c != interlock.AgentUnready {
		return s + " " + v.say("says.blocked", v.title(c))
	}
	return s
}

func (v view) stageSays(p *bay.Picture) string {
	switch p.Stage {
	case bay.Vacant:
		return v.say("says.vacant")
	case bay.Checking:
		return v.say("says.checking")
	case bay.Waiting:
		return v.say("says.waiting" + when(p.Permit.Granted, ".free"))
	case bay.Charging:
		return v.chargingSays(p)
	case bay.Cooling:
		return v.say("says.cooling", v.waitingFor(p.Cool.WaitingFor))
	case bay.ReadyToWater:
		return v.say("says.ready", v.volume(p.Water.TotalML))
	case bay.Watering:
		return v.say("says.watering" + when(p.Visit.OnlyCoverPlates, ".plates"))
	case bay.Rested:
		return v.say("says.rested")
	case bay.StageUnknown, bay.NumStages:
	}
	return v.say("says.unknown")
}

func (v view) waitingFor(r cooldown.Reason) string {
	return v.say("reason." + strconv.Itoa(int(r)))
}

func (v view) chargingSays(p *bay.Picture) string {
	switch {
	case p.Charge.Full:
		return v.say("says.charging.full")
	case !p.Charge.Flowing:
		return v.say("says.charging.paused")
	}
	return v.say("says.charging", v.span(p.Now-p.Charge.Since))
}

func when(ok bool, s string) string {
	if ok {
		return s
	}
	return ""
}

// next tells what happens next and when, with its range.
func (v view) next(p *bay.Picture) string {
	switch p.Stage {
	case bay.Vacant:
		return v.say("next.vacant")
	case bay.Checking:
		return v.say("next.checking")
	case bay.Waiting:
		return v.say("next.waiting" + when(p.Permit.Granted, ".free"))
	case bay.Charging:
		if p.Charge.Full {
			return v.say("next.charging.full")
		}
		return v.say("next.charging", v.span(p.Limits.RestMin))
	case bay.Cooling:
		return v.nextCooling(p)
	case bay.ReadyToWater:
		return v.say("next.ready")
	case bay.Watering:
		return v.say("next.watering")
	case bay.Rested:
		return v.nextRested(p)
	case bay.StageUnknown, bay.NumStages:
	}
	return v.say("next.checking")
}

func (v view) nextCooling(p *bay.Picture) string {
	if !p.Cool.ReadyKnown {
		return v.say("next.cooling.unknown")
	}
	return v.say("next.cooling", v.span(p.Cool.ReadyIn), v.span(p.Cool.ReadyEarly), v.span(p.Cool.ReadyLate))
}

func (v view) nextRested(p *bay.Picture) string {
	s := v.say("next.rested")
	if w := &p.Water; w.ForecastOK {
		s += " " + v.say("next.forecast", v.span(hours(w.ForecastH)), v.span(hours(w.ForecastLo)), v.span(hours(w.ForecastHi)))
	}
	return s
}

// toDo tells a person what to do, if anything.
func (v view) toDo(p *bay.Picture) string {
	switch {
	case p.Visit.Open:
		return v.say("do.visit")
	case p.Findings[interlock.PlatesBare].Raised && p.Stage != bay.Vacant:
		return v.say("do.plates")
	case urgencyOf(p).rank <= isLook.rank:
		return v.say("do.findings")
	case p.Stage == bay.ReadyToWater:
		return v.say("do.water")
	case p.Findings[interlock.Held].Raised:
		return v.whatToDo(interlock.Held)
	}
	return v.say("do.nothing")
}
