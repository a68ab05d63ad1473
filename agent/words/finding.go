package words

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// Title names a finding in a few words, "" for none.
func (v Voice) Title(c interlock.Code) string {
	if c == interlock.NoCode || c >= interlock.NumCodes {
		return ""
	}
	return v.Say("finding." + c.String() + ".title")
}

// When describes the condition of a finding, for use after "when".
func (v Voice) When(c interlock.Code) string { return v.Say("finding." + c.String() + ".when") }

// WhatToDo returns what a technician should do about a finding, "" for none. A
// sentence, or a fault of a reading, that needs something other than the usual action has
// its own text.
func (v Voice) WhatToDo(c interlock.Code, e interlock.Evidence) string {
	if c == interlock.NoCode || c >= interlock.NumCodes {
		return ""
	}
	finding := "finding." + c.String()
	if own := finding + "." + e.Fault.String() + ".do"; e.Fault != reading.None && v.has(own) {
		return v.Say(own)
	}
	if own := finding + variant(c, e) + ".do"; v.has(own) {
		return v.Say(own)
	}
	return v.Say(finding + ".do")
}

// Evidence describes why a finding is raised, with the numbers that led to it.
func (v Voice) Evidence(c interlock.Code, e interlock.Evidence) string {
	if c == interlock.NoCode || c >= interlock.NumCodes {
		return v.Say("evidence.unknown")
	}
	value, limit := v.figures(c, e)
	return v.Say("evidence."+c.String()+variant(c, e), value, limit, v.Fault(e.Fault))
}

// Why describes why a finding of a picture is raised; for locks with the names of
// their people. It does not say of a reading that is good again, or gone, that it is
// what led to the finding.
func (v Voice) Why(p *bay.Picture, c interlock.Code) string {
	f := &p.Findings[c]
	e := f.Evidence
	switch {
	case f.Clearing && !saysThatItWas(c):
		return v.clearing(c, e)
	case f.Gone:
		return v.Say("evidence.gone", v.Evidence(c, e))
	case c == interlock.Held && e.Reason == interlock.Usual && len(p.Holds) > 0:
		return v.holds(p)
	case c == interlock.VisitOpen && len(p.Visit.People) > 0:
		return v.Say("evidence.visit-open.people", v.People(p.Visit.People))
	case c == interlock.VisitOpen && p.Visit.Open:
		return v.Say("evidence.visit-open.nobody")
	}
	return v.Evidence(c, e)
}

// saysThatItWas reports whether the usual sentence of a finding is true of a good reading,
// too.
func saysThatItWas(c interlock.Code) bool {
	return c == interlock.PlatesBare || c == interlock.PackHot || interlock.Table[c].Unread == interlock.UnreadAlone
}

// clearing describes a finding that remains only until it has been good for long enough.
func (v Voice) clearing(c interlock.Code, e interlock.Evidence) string {
	span, own := v.Span(interlock.Table[c].Clear), "evidence."+c.String()+".clearing"
	if !v.has(own) {
		return v.Say("evidence.clearing", span)
	}
	value, limit := v.figures(c, e)
	return v.Say(own, value, limit, span)
}

// holds lists who holds the charge, for how long and why.
func (v Voice) holds(p *bay.Picture) string {
	all := make([]string, len(p.Holds))
	for i, l := range p.Holds {
		all[i] = v.Lock(l, p.Now)
	}
	return strings.Join(all, " ")
}

// Lock says who holds the charge, for how long and why.
func (v Voice) Lock(l bay.Lock, now time.Duration) string {
	by, span := v.Person(l.By), v.Span(now-l.Since)
	if l.Reason == "" {
		return v.Say("evidence.held.by", by, span)
	}
	return v.Say("evidence.held.reason", by, span, strings.TrimSuffix(l.Reason, "."))
}

// Person returns a person's name, or words for one whose name is lost.
func (v Voice) Person(name string) string {
	if name == "" {
		return v.Say("person.unknown")
	}
	return name
}

// People names the owners of locks.
func (v Voice) People(locks bay.Locks) string {
	names := make([]string, len(locks))
	for i := range locks {
		names[i] = v.Person(locks[i].By)
	}
	return strings.Join(names, ", ")
}

// reasonOf reports whether a finding has a reason of its own.
func reasonOf(c interlock.Code, r interlock.Reason) bool {
	return slices.Contains(interlock.Table[c].Reasons, r)
}

// variant is the end of a sentence's key: a finding has one sentence for each of
// its reasons, and some for a reading that cannot be used.
func variant(c interlock.Code, e interlock.Evidence) string {
	if reasonOf(c, e.Reason) {
		return "." + e.Reason.String()
	}
	switch {
	case c == interlock.PlatesBare && zeroedMM(e.Value) == 0:
		return ".at"
	case c == interlock.PlatesBare && e.Value > 0:
		return ".were"
	case c == interlock.LevelDoubted && e.Value < 24: // hours: the time since is not the reason
		return ".again"
	case c == interlock.WaterBalance && e.Value > 0: // nobody recorded who watered
		return ".risen"
	case interlock.Table[c].Unread == interlock.UnreadAlso && e.Fault != reading.None:
		return ".fault"
	}
	return ""
}

// figures returns the value and the limit of an evidence with their units: those
// of the sensor that the finding reads, unless interlock.Evidence names others.
func (v Voice) figures(c interlock.Code, e interlock.Evidence) (value, limit string) {
	show := v.bySensor(c)
	switch c {
	case interlock.PlatesBare:
		if e.Reason == interlock.CellsBare {
			return strconv.Itoa(int(e.Value)), v.heightShort(e.Limit)
		}
		return v.aboveOrBelow(e.Value), v.heightShort(e.Limit)
	case interlock.Overfilled, interlock.CellsMiscounted:
		return strconv.Itoa(int(e.Value)), strconv.Itoa(int(e.Limit))
	case interlock.LevelDoubted:
		return v.Hours(e.Value), strconv.Itoa(int(e.Limit))
	case interlock.WaterBalance, interlock.WaterUnrecorded, interlock.ReadingsOff:
		return v.heightShort(math.Abs(e.Value)), v.heightShort(e.Limit)
	case interlock.ContactorStuck, interlock.ContactorOpen:
		show = v.figure("A", 1)
	case interlock.Runaway:
		return v.figure("A", 1)(e.Value), v.Degrees(e.Limit)
	case interlock.CloseDelay: // a countdown is read in seconds
		return v.Say("span.s", int(math.Ceil(min(max(e.Value, 0), 1e6)))), ""
	case interlock.AgentUnready:
		return v.Span(time.Duration(min(max(e.Value, 0), 1e6) * float64(time.Second))), ""
	case interlock.ChargeOverrun:
		show = v.figure("h", 1)
		if e.Reason == interlock.ByAmpereHours {
			show = v.figure("Ah", 0)
		}
	default:
	}
	return show(e.Value), show(e.Limit)
}

// bySensor formats figures in the unit of the sensor that a finding reads.
func (v Voice) bySensor(c interlock.Code) func(float64) string {
	switch interlock.Table[c].Reads {
	case reading.PackTemperature, reading.AmbientTemperature:
		return v.Temperature
	case reading.PackVoltage: // of one cell
		return v.figure("V", 2)
	case reading.PackCurrent:
		return v.figure("A", 1)
	case reading.Hydrogen:
		return v.figure("%", 2)
	default:
		return v.plain
	}
}

// aboveOrBelow formats a distance from the plate tops. Below them whole
// millimetres are enough; above, a charge may lack only a fraction.
func (v Voice) aboveOrBelow(mm float64) string {
	if mm < 0 {
		return v.Height(-zeroedMM(mm))
	}
	return v.heightShort(mm)
}
