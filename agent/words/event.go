package words

import (
	"bayward/agent/bay"
	"bayward/agent/charge"
	"bayward/agent/cooldown"
	"bayward/agent/order"
)

// EventTitle names in a few words what happened.
func (v Voice) EventTitle(e *bay.Event) string {
	key := "event." + e.Kind.String()
	switch e.Kind {
	case bay.PermitBlocked, bay.FindingRaised, bay.FindingCleared:
		return v.Say(key, v.Title(e.Code))
	case bay.StageChanged:
		return v.Say("stage." + e.Stage.String())
	case bay.VisitOpened, bay.VisitClosed, bay.OrderTaken, bay.OrderRefused:
		return v.Say(key, e.By)
	case bay.NoEvent: // from a newer program
		return v.Say("event.other")
	default:
		return v.Say(key)
	}
}

// Event describes what happened in a sentence or two.
func (v Voice) Event(e *bay.Event) string {
	key := "said." + e.Kind.String()
	switch e.Kind {
	case bay.PermitBlocked, bay.FindingRaised:
		return v.Evidence(e.Code, e.Evidence)
	case bay.FindingCleared:
		return v.Say(key, v.Title(e.Code))
	case bay.StageChanged:
		return v.stageChanged(key, e)
	case bay.ChargeFull:
		return v.Say(key, v.Proof(e.Proof))
	case bay.ChargeEnded:
		return v.chargeEnded(key, e)
	case bay.PackNamed:
		return v.Say(key+"."+e.Naming.String(), e.Pack)
	case bay.PackLeft:
		return v.Say(key, e.Pack)
	case bay.MemoryDoubted:
		return v.doubted(key, e)
	case bay.ZeroMoved:
		return v.Say(key, v.figure("A", 2)(e.ZeroA))
	case bay.PermitGranted, bay.ChargeStarted:
		return v.Say(key)
	case bay.VisitOpened:
		return v.withNote(v.Say(key+when(e.Plates, ".plates")), &e.Asked)
	case bay.VisitClosed:
		return v.withNote(v.withBare(v.Say(key, v.Volume(e.WaterML)), e), &e.Asked)
	case bay.OrderTaken:
		if e.Asked.Kind == order.Correct {
			return v.withNote(v.corrected(&e.Asked, e.Old), &e.Asked)
		}
		return v.withBare(v.Done(&e.Asked), e)
	case bay.OrderRefused:
		return v.Refused(&e.Why)
	default: // from a newer program
		return v.Say("event.other")
	}
}

// withBare puts the cells that a visit leaves bare first.
func (v Voice) withBare(text string, e *bay.Event) string {
	if e.Bare == 0 {
		return text
	}
	return v.StillBare(e.Bare.Numbers()) + " " + text
}

// stageChanged describes a bay's new stage, as far as the event knows it.
func (v Voice) stageChanged(key string, e *bay.Event) string {
	switch e.Stage {
	case bay.Charging:
		return v.Say(key + ".charging")
	case bay.Cooling:
		if e.WaitingFor == cooldown.NothingLeft {
			return v.Say("says.cooling.level")
		}
		return v.Say("says.cooling", v.waitingFor(e.WaitingFor))
	case bay.ReadyToWater:
		return v.Say("says.ready", v.Volume(e.WaterML))
	default:
		return v.Say("says." + e.Stage.String())
	}
}

func (v Voice) chargeEnded(key string, e *bay.Event) string {
	key += when(e.Proof == charge.NoEvidence, ".early") + when(e.InAhKnown, ".ah")
	return v.Say(key, v.Span(e.Ago), v.figure("Ah", 0)(e.InAh))
}

func (v Voice) doubted(key string, e *bay.Event) string {
	text := v.Say("mistrust."+e.Doubt.String(), e.File)
	if e.Pack != "" {
		return v.Say(key+".pack", e.Pack, text)
	}
	return text
}

// Proof describes what proved a battery full.
func (v Voice) Proof(e charge.Evidence) string { return v.Say("proof." + e.String()) }
