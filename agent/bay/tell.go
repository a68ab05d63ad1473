package bay

import (
	"fmt"
	"time"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// tell adds an event of this tick.
func (b *Bay) tell(e Event) {
	e.At = b.pic.Now
	b.events = append(b.events, e)
}

func (b *Bay) tellFinding(c interlock.Code, f *Finding) {
	if f.Raised {
		b.tell(Event{Kind: FindingRaised, Code: c, Text: interlock.Explain(c, f.Evidence)})
		return
	}
	b.tell(Event{Kind: FindingCleared, Code: c, Text: "No longer: " + interlock.Table[c].Title + "."})
}

func (b *Bay) tellPermit() {
	if b.pic.Permit.Granted {
		b.tell(Event{Kind: PermitGranted, Text: "Nothing speaks against a charge."})
		return
	}
	c := b.pic.FirstReason()
	b.tell(Event{Kind: PermitBlocked, Code: c, Text: interlock.Explain(c, b.pic.Findings[c].Evidence)})
}

// chargeBefore is what the events of a charge compare with.
type chargeBefore struct {
	Active, Full bool
	Charges      uint64
}

// chargeNow is it in the picture now; what does not move it tells nothing.
func (b *Bay) chargeNow() chargeBefore {
	return chargeBefore{b.pic.Charge.Active, b.pic.Charge.Full, b.pic.Charge.Charges}
}

func (b *Bay) tellCharge(before chargeBefore, now time.Duration) {
	c := &b.pic.Charge
	if c.Active && (!before.Active || c.Charges != before.Charges) {
		b.tell(Event{Kind: ChargeStarted, Text: "Charging current flows."})
	}
	if c.Full && !before.Full {
		b.tell(Event{Kind: ChargeFull, Text: "Proven full by " + c.Evidence.String() + "."})
	}
	if before.Active && !c.Active {
		b.tell(Event{Kind: ChargeEnded, Text: b.endText(now)})
	}
}

func (b *Bay) endText(now time.Duration) string {
	c := &b.pic.Charge
	how := "before it was proven full"
	if c.Full {
		how = "proven full"
	}
	if b.setup.Fitted.Has(reading.PackCurrent) {
		return fmt.Sprintf("The charge ended %s ago, %s, with %.0f Ah.", round(now-c.EndedAt), how, c.InAh)
	}
	return fmt.Sprintf("The charge ended %s ago, %s.", round(now-c.EndedAt), how)
}
