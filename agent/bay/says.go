package bay

import (
	"fmt"
	"time"

	"bayward/agent/interlock"
)

func (p *Picture) stageSays() string {
	switch p.Stage {
	case Vacant:
		return "No pack is connected."
	case Checking:
		return "Readings are being proven before anything is granted."
	case Waiting:
		if p.Permit.Granted {
			return "At rest and free to charge."
		}
		return "At rest, not full."
	case Charging:
		return p.chargingSays()
	case Cooling:
		return p.coolingSays()
	case ReadyToWater:
		return fmt.Sprintf("Full, rested and cool: ready to water, %.0f ml in all.", p.Water.TotalML)
	case Watering:
		if p.Visit.OnlyCoverPlates {
			return "A person covers the plates; the charge is locked out."
		}
		return "A person waters the pack; the charge is locked out."
	case Rested:
		return "Full, cool, level right: ready for work."
	case StageUnknown, NumStages:
	}
	return "Nothing is known yet."
}

func (p *Picture) chargingSays() string {
	if p.Charge.Full {
		return "Proven full; the charger still gives current."
	}
	if !p.Charge.Flowing {
		return "The charge is interrupted."
	}
	return fmt.Sprintf("Charging for %s, not yet proven full.", round(p.Now-p.Charge.Since))
}

func (p *Picture) coolingSays() string {
	if p.Cool.Cool && !p.Water.Known {
		return "Full, rested and cool; how much water it wants is not known: take a level reading."
	}
	s := "Proven full, cooling down; waiting for " + p.Cool.WaitingFor.String()
	if p.Cool.ReadyKnown {
		s += fmt.Sprintf(", about %s", round(p.Cool.ReadyIn))
	}
	return s + "."
}

func round(d time.Duration) string {
	m := int(d.Round(time.Minute).Minutes())
	if m < 60 {
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %02d min", m/60, m%60)
}

// FirstReason is the first blocking finding, in the order of the table, or
// NoCode when none stands.
func (p *Picture) FirstReason() interlock.Code {
	for c := interlock.NoCode + 1; c < interlock.NumCodes; c++ {
		if p.Findings[c].Raised && interlock.Table[c].Blocks {
			return c
		}
	}
	return interlock.NoCode
}
