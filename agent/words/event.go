package words

import "bayward/agent/bay"

// Event words what happened. The text is as it stands in the record, in
// English, and "" where the words say it all.
func (v Voice) Event(e *bay.Event) (what, text string) {
	key := "event." + e.Kind.String()
	switch e.Kind {
	case bay.PermitGranted:
		return v.Say(key), ""
	case bay.PermitBlocked, bay.FindingRaised, bay.FindingCleared:
		return v.Say(key, v.Title(e.Code)), ""
	case bay.StageChanged:
		return v.Say(key, v.Say("stage."+e.Stage.String())), ""
	case bay.VisitOpened, bay.VisitClosed, bay.OrderTaken, bay.OrderRefused:
		return v.Say(key, e.By), e.Text
	case bay.ChargeStarted:
		return v.Say(key), ""
	case bay.ChargeFull, bay.ChargeEnded, bay.MemoryDoubted:
		return v.Say(key), e.Text
	default:
		return v.Say("event.other"), e.Text
	}
}
