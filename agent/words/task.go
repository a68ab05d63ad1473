package words

import (
	"math"
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// Brief is what a line of the work list is made from: for a bay of this agent, or for
// another agent's as far as its state says.
type Brief struct {
	Stage    bay.Stage
	Severity interlock.Severity // of the most severe finding
	Finding  string             // its title, in the reader's language; "" without one
	FoundFor time.Duration
	// Locks says who holds the charge, or counts down to the closing of the contactor;
	// "" without either. Closing is that the countdown alone blocks.
	Locks         string
	Held, Closing bool
	Visit         bool
	People        string // in the visit
	OnlyRead      bool   // levels are to be read, and no water is due
	CarryML       float64
	ReadyIn       time.Duration // until it is cool; 0 while not known
	ChargingFor   time.Duration // 0 while no charge runs
}

// Task is a bay as a line of the work list: what, and how much or when.
type Task struct {
	What string
	Much string // water now, cells left, or a time; "" for none
}

// Brief returns it for a bay of this agent.
func (v Voice) Brief(p *bay.Picture) Brief {
	c := worst(p)
	b := Brief{
		Stage: p.Stage, Severity: interlock.Table[c].Severity, Held: p.Findings[interlock.Held].Raised,
		Closing: p.FirstReason() == interlock.CloseDelay, Visit: p.Visit.Open, OnlyRead: onlyReadings(p), CarryML: ToCarryML(p),
	}
	if c != interlock.NoCode {
		b.Finding, b.FoundFor = v.Title(c), p.Now-p.Findings[c].Since
	}
	switch {
	case b.Closing:
		b.Locks = v.Why(p, interlock.CloseDelay)
	case b.Held:
		b.Locks = v.Why(p, interlock.Held)
	}
	if p.Visit.Open {
		b.People = v.People(p.Visit.People)
	}
	if p.Cool.ReadyKnown {
		b.ReadyIn = p.Cool.ReadyIn
	}
	if p.Charge.Flowing {
		b.ChargingFor = p.Now - p.Charge.Since
	}
	return b
}

// Task returns the line of a bay.
func (v Voice) Task(b *Brief) Task {
	t := Task{What: v.what(b)}
	switch {
	case b.Closing, b.Held && b.Urgency() == OnHold:
		t.What = b.Locks
	case b.Held:
		t.What += ". " + b.Locks
	}
	t.Much = v.much(b)
	return t
}

func (v Voice) what(b *Brief) string {
	switch u := b.Urgency(); {
	case u == Danger, u == Look:
		return Capital(b.Finding)
	case u == AtPack:
		return v.Say("task.visit", b.People)
	case u == Todo && b.OnlyRead:
		return v.Say("task.read")
	case u == Todo:
		return v.Say("task.water")
	}
	return v.Say("stage." + b.Stage.String())
}

// much returns the water to carry now or, without any, for how long it has been so or when
// it ends. Beside a finding it is the finding's time: beside "charge runs too long", the
// time until the battery is ready would read as the time until that.
func (v Voice) much(b *Brief) string {
	if b.CarryML >= 1 {
		return v.Litres(b.CarryML)
	}
	switch u := b.Urgency(); {
	case u == Danger, u == Look:
		return v.Say("task.for", v.Span(b.FoundFor))
	case b.Stage == bay.Cooling && b.ReadyIn > 0:
		return v.Say("task.in", v.Span(b.ReadyIn))
	case b.Stage == bay.Charging && b.ChargingFor > 0:
		return v.Say("task.for", v.Span(b.ChargingFor))
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
