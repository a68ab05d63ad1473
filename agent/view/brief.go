package view

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/words"
)

// Brief returns what a line of the work list says of the bay that the view is of, in the
// reader's language as far as its codes are known here. What a newer version published and
// this one does not know is shown as it is, and a stage that is not known as such.
func (v *View) Brief(voice words.Voice) words.Brief {
	stage, _ := bay.ParseStage(v.Stage)
	b := words.Brief{Stage: stage, Visit: v.Visit != nil, CarryML: v.carryML(stage), ChargingFor: v.chargingFor(stage)}
	b.OnlyRead = len(v.ReadCells) > 0 && sum(v.WaterML) < 1
	if v.ReadyInS != nil {
		b.ReadyIn = span(*v.ReadyInS)
	}
	if v.Visit != nil {
		b.People = voice.People(locked(v.Visit.People))
	}
	if f := v.worst(); f != nil {
		b.Severity, b.FoundFor = severityOf(f.Severity), span(f.ForS)
		b.Finding = cmp.Or(voice.Title(interlock.Lookup(f.Code)), f.Title, f.Code)
	}
	held := v.finding(interlock.Held.String())
	b.Held = held != nil
	i := slices.IndexFunc(v.Findings, func(f Finding) bool { return f.Blocks })
	b.Closing = i >= 0 && v.Findings[i].Code == interlock.CloseDelay.String()
	switch {
	case b.Closing && v.CloseInS != nil:
		b.Locks = voice.Evidence(interlock.CloseDelay, interlock.Evidence{Value: *v.CloseInS})
	case b.Closing:
		b.Locks = v.Findings[i].Evidence
	case b.Held:
		b.Locks = heldBy(v.Holds, voice)
		if b.Locks == "" {
			b.Locks = held.Evidence
		}
	}
	return b
}

// heldBy lists who holds the charge, "" for nobody by name.
func heldBy(holds []Lock, voice words.Voice) string {
	all := make([]string, len(holds))
	for i, l := range locked(holds) {
		all[i] = voice.Lock(l, 0)
	}
	return strings.Join(all, " ")
}

// locked returns locks whose time counts back from 0.
func locked(all []Lock) (locks bay.Locks) {
	for _, l := range all {
		locks = append(locks, bay.Lock{By: l.By, Since: -span(l.ForS), Reason: l.Reason})
	}
	return locks
}

// carryML is words.ToCarryML of a view.
func (v *View) carryML(stage bay.Stage) float64 {
	switch {
	case v.Visit != nil && v.Visit.OnlyCoverPlates, v.Visit == nil && v.finding(interlock.PlatesBare.String()) != nil:
		return sum(v.CoverPlatesML)
	case v.Visit != nil, stage == bay.ReadyToWater:
		return sum(v.WaterML)
	}
	return 0
}

// chargingFor is how long a charge has run: a state says since when the stage has been
// charging, and whether a current flows.
func (v *View) chargingFor(stage bay.Stage) time.Duration {
	if stage != bay.Charging {
		return 0
	}
	return span(v.StageForS)
}

func sum(ml []float64) (all float64) {
	for _, each := range ml {
		all += math.Floor(each)
	}
	return all
}

// worst returns the first of the most severe findings, nil when there is none.
func (v *View) worst() (worst *Finding) {
	for i := range v.Findings {
		if f := &v.Findings[i]; worst == nil || severityOf(f.Severity) > severityOf(worst.Severity) {
			worst = f
		}
	}
	return worst
}

// severityOf returns the severity of that name. One that is not known counts as a
// warning: somebody looks.
func severityOf(name string) interlock.Severity {
	for s := interlock.Info; s <= interlock.Danger; s++ {
		if s.String() == name {
			return s
		}
	}
	return interlock.Warning
}

func (v *View) finding(code string) *Finding {
	if i := slices.IndexFunc(v.Findings, func(f Finding) bool { return f.Code == code }); i >= 0 {
		return &v.Findings[i]
	}
	return nil
}

// span is a time in seconds as people are told it: none below 0, and none that a duration
// cannot hold.
func span(s float64) time.Duration {
	const most = 100 * 365 * 24 * time.Hour
	return time.Duration(min(max(s, 0), most.Seconds()) * float64(time.Second))
}
