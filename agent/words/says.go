package words

import (
	"bayward/agent/bay"
	"bayward/agent/cooldown"
	"bayward/agent/interlock"
)

// Says describes in one sentence what the bay is doing and why.
func (v Voice) Says(p *bay.Picture) string {
	s := v.stageSays(p)
	if p.Permit.Granted || p.Stage == bay.Watering {
		return s
	}
	switch c := p.FirstReason(); {
	case c == interlock.Held, c == interlock.CloseDelay:
		return s + " " + v.Why(p, c)
	case c != interlock.NoCode && c != interlock.AgentUnready:
		return s + " " + v.Say("says.blocked", v.Title(c))
	}
	return s
}

func (v Voice) stageSays(p *bay.Picture) string {
	switch p.Stage {
	case bay.Vacant:
		return v.Say("says.vacant")
	case bay.Checking:
		return v.Say("says.checking")
	case bay.Waiting:
		return v.Say("says.waiting" + when(p.Permit.Granted, ".free"))
	case bay.Charging:
		return v.chargingSays(p)
	case bay.Cooling:
		return v.coolingSays(p)
	case bay.ReadyToWater:
		if onlyReadings(p) {
			return v.Say("says.ready.read")
		}
		return v.Say("says.ready", v.Volume(p.Water.WholeML()))
	case bay.Watering:
		return v.Say("says.watering" + when(p.Visit.OnlyCoverPlates, ".plates"))
	case bay.Rested:
		return v.Say("says.rested")
	case bay.StageUnknown, bay.NumStages:
	}
	return v.Say("says.unknown")
}

func (v Voice) coolingSays(p *bay.Picture) string {
	why := p.Cool.WaitingFor
	if !p.Cool.Cool && why == cooldown.NothingLeft {
		why = cooldown.MinimumRest // still on charge: the rest has not begun
	}
	waits := v.waitingFor(why)
	switch {
	case p.Cool.Cool && !p.Water.Known:
		return v.Say("says.cooling.level")
	case p.Cool.ReadyKnown:
		return v.Say("says.cooling.ready", waits, v.Span(p.Cool.ReadyIn))
	}
	return v.Say("says.cooling", waits)
}

func (v Voice) waitingFor(r cooldown.Reason) string {
	return v.Say("wait." + r.String())
}

func (v Voice) chargingSays(p *bay.Picture) string {
	switch {
	case p.Charge.Full:
		return v.Say("says.charging.full")
	case !p.Charge.Flowing:
		return v.Say("says.charging.paused")
	}
	return v.Say("says.charging", v.Span(p.Now-p.Charge.Since))
}

func when(ok bool, s string) string {
	if ok {
		return s
	}
	return ""
}

// Next describes what happens next and when, with its range.
func (v Voice) Next(p *bay.Picture) string {
	switch p.Stage {
	case bay.Vacant:
		return v.Say("next.vacant")
	case bay.Checking:
		return v.Say("next.checking")
	case bay.Waiting:
		return v.nextWaiting(p)
	case bay.Charging:
		if p.Charge.Full {
			return v.Say("next.charging.full")
		}
		return v.Say("next.charging", v.Span(p.Limits.RestMin))
	case bay.Cooling:
		return v.nextCooling(p)
	case bay.ReadyToWater:
		return v.Say("next.ready")
	case bay.Watering:
		return v.Say("next.watering" + when(p.Findings[interlock.PlatesBare].Raised, ".bare"))
	case bay.Rested:
		return v.nextRested(p)
	case bay.StageUnknown, bay.NumStages:
	}
	return v.Say("next.checking")
}

func (v Voice) nextWaiting(p *bay.Picture) string {
	c := p.FirstReason()
	switch {
	case p.Permit.Granted:
		return v.Say("next.waiting.free")
	case c == interlock.NoCode:
		return v.Say("next.checking")
	}
	return v.Say("next.waiting", v.Say("finding."+c.String()+".until"))
}

func (v Voice) nextCooling(p *bay.Picture) string {
	if !p.Cool.ReadyKnown {
		return v.Say("next.cooling.unknown")
	}
	return v.Say("next.cooling", v.Span(p.Cool.ReadyIn), v.Span(p.Cool.ReadyEarly), v.Span(p.Cool.ReadyLate))
}

func (v Voice) nextRested(p *bay.Picture) string {
	s := v.Say("next.rested")
	if w := &p.Water; w.ForecastOK {
		s += " " + v.Say("next.forecast", v.Hours(w.ForecastH), v.Hours(w.ForecastLo), v.Hours(w.ForecastHi))
	}
	return s
}

// ToDo returns what a technician should do, if anything.
func (v Voice) ToDo(p *bay.Picture) string {
	switch {
	case p.Visit.Open:
		return v.Say("do.visit")
	case p.Findings[interlock.PlatesBare].Raised && p.Stage != bay.Vacant:
		return v.Say("do.plates")
	case UrgencyOf(p).Rank <= Look.Rank:
		c := worst(p)
		return v.WhatToDo(c, p.Findings[c].Evidence)
	case p.Findings[interlock.Held].Raised:
		return v.WhatToDo(interlock.Held, p.Findings[interlock.Held].Evidence)
	case p.Findings[interlock.CloseDelay].Raised:
		return v.WhatToDo(interlock.CloseDelay, p.Findings[interlock.CloseDelay].Evidence)
	case p.Stage == bay.ReadyToWater:
		return v.toWater(p)
	}
	return v.Say("do.nothing")
}

// toWater is what to do at a pack that is ready for it.
func (v Voice) toWater(p *bay.Picture) string {
	return v.Say(map[bool]string{true: "do.read", false: "do.water"}[onlyReadings(p)])
}

// onlyReadings reports whether a pack that is ready needs level readings and no water.
func onlyReadings(p *bay.Picture) bool { return p.Water.WholeML() < 1 && len(p.ToRead()) > 0 }
