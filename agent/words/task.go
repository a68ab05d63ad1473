package words

import (
	"math"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// Task is a bay as a line of the work list: what, and how much or when.
type Task struct {
	What string
	Much string // water now, cells left, or a time; "" for none
}

// Task returns the line of a bay.
func (v Voice) Task(p *bay.Picture) Task {
	t := Task{What: v.what(p)}
	held := p.Findings[interlock.Held].Raised
	switch {
	case p.FirstReason() == interlock.CloseDelay:
		t.What = v.Why(p, interlock.CloseDelay)
	case held && UrgencyOf(p) == OnHold:
		t.What = v.Why(p, interlock.Held)
	case held:
		t.What += ". " + v.Why(p, interlock.Held)
	}
	t.Much = v.much(p)
	return t
}

func (v Voice) what(p *bay.Picture) string {
	switch u := UrgencyOf(p); {
	case u == Danger, u == Look:
		return Capital(v.Title(worst(p)))
	case u == AtPack:
		return v.Say("task.visit", v.People(p.Visit.People))
	case u == Todo && onlyReadings(p):
		return v.Say("task.read")
	case u == Todo:
		return v.Say("task.water")
	}
	return v.Say("stage." + p.Stage.String())
}

// much returns the water to carry now or, without any, for how long it has been so or when
// it ends. Beside a finding it is the finding's time: beside "charge runs too long", the
// time until the battery is ready would read as the time until that.
func (v Voice) much(p *bay.Picture) string {
	if ml := ToCarryML(p); ml >= 1 {
		return v.Litres(ml)
	}
	switch u := UrgencyOf(p); {
	case u == Danger, u == Look:
		return v.Say("task.for", v.Span(p.Now-p.Findings[worst(p)].Since))
	case p.Stage == bay.Cooling && p.Cool.ReadyKnown:
		return v.Say("task.in", v.Span(p.Cool.ReadyIn))
	case p.Stage == bay.Charging && p.Charge.Flowing:
		return v.Say("task.for", v.Span(p.Now-p.Charge.Since))
	}
	return ""
}

// ToCarryML returns the water that a bay takes now, for one that is to be watered or where a
// visit is open; 0 for any other.
func ToCarryML(p *bay.Picture) (ml float64) {
	perCell, _ := Proposal(p)
	for _, each := range perCell {
		ml += math.Floor(each)
	}
	return ml
}

// Litres formats an amount of water to carry, rounded up to what a jug shows.
func (v Voice) Litres(ml float64) string {
	const litre = 1000
	if v.units.Name != systems[0].Name || ml < litre {
		return v.words.point(v.units.Volume.Show(math.Ceil(ml)))
	}
	return v.Figure(math.Ceil(ml/100)/10, 1, "L")
}
