package web

import (
	"time"

	"bayward/agent/bay"
	"bayward/agent/words"
)

// step is one stage of a battery's round, from plugging in to watering.
type step struct {
	Key   string // of its name
	Class string // done, now or later
	At    string // when it began, or is to come; "" if not known
}

// roundSteps are the keys of the steps, in order.
var roundSteps = []string{"step.plugged", "step.charging", "step.full", "step.cooling", "step.ready", "step.watered"}

const readyStep = 4

// stepOf returns where the battery stands; ok is false without one.
func stepOf(p *bay.Picture) (n int, ok bool) {
	switch {
	case p.Stage == bay.Vacant, p.Stage == bay.StageUnknown:
		return 0, false
	case p.Stage == bay.Charging && p.Charge.Full:
		return 2, true
	case p.Stage == bay.Charging:
		return 1, true
	case p.Stage == bay.Cooling:
		return 3, true
	case p.Stage == bay.ReadyToWater, p.Stage == bay.Watering:
		return readyStep, true
	case p.Stage == bay.Rested:
		return 5, true
	}
	return 0, true
}

// stepsOf returns the round of the battery that is plugged in, nil without one.
func stepsOf(p *bay.Picture, v words.Voice, now time.Time) []step {
	at, ok := stepOf(p)
	if !ok {
		return nil
	}
	all := make([]step, len(roundSteps))
	for i, key := range roundSteps {
		all[i] = step{Key: key, Class: "later"}
		switch {
		case i < at:
			all[i].Class = "done"
		case i == at:
			all[i].Class, all[i].At = "now", v.Say("step.since", clockTime(now, p.StageAt-p.Now))
		}
	}
	if c := &p.Cool; p.Stage == bay.Cooling && c.ReadyKnown {
		all[readyStep].At = v.Say("step.about", clockTime(now, c.ReadyIn))
	}
	return all
}

// clockTime is the time by the clock, with the date when it is another day.
func clockTime(now time.Time, in time.Duration) string {
	at := now.Add(in).Local()
	if at.Format(time.DateOnly) == now.Local().Format(time.DateOnly) {
		return at.Format("15:04")
	}
	return at.Format("01-02 15:04")
}
