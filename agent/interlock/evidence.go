package interlock

import (
	"fmt"

	"bayward/agent/reading"
)

// Evidence is the numbers that led to a finding. What Value and Limit mean
// depends on the code: millimetres for the level, degrees Celsius for
// temperatures, volts for one cell, per cent by volume for hydrogen, amperes
// for a stuck contactor, seconds left for an unready agent, and hours or
// ampere-hours for an overrun.
type Evidence struct {
	Value, Limit float64
	Fault        reading.Fault // why the reading cannot be used, for findings about readings
	Reason       Reason
}

// Reason tells apart the ways in which one finding can come about. The zero
// value is the usual one.
type Reason uint8

// The reasons.
const (
	Usual         Reason = iota
	NotYetCharge         // plates-bare: covered, but by less than a charge needs
	NoPack               // agent-unready: no pack is connected
	ContactorRest        // agent-unready: the minimum off time
	Restored             // agent-unready: the memory was in doubt
	LateTick             // agent-unready: a tick was late and the guard opened the relay
	Forgotten            // held: what people had ordered before a restart cannot be read
	ByCurrent            // contactor-stuck: current flows while open is ordered; contactor-open: it flows although the contact says open
	Reversed             // voltage-implausible: wrong polarity
	TooLow               // voltage-implausible
	TooHigh              // voltage-implausible
	ByHours              // charge-overrun
	ByAmpereHours        // charge-overrun
	NoSensor             // pack-unknown: no pack's own sensor answers
	TwoSensors           // pack-unknown: the sensors of several packs answer
	PackChanged          // pack-unknown: another pack's sensor answers, although nothing was unplugged
	Elsewhere            // pack-unknown: another bay has this pack
)

// Explain says in one sentence, in SI units, why the finding stands.
func Explain(c Code, e Evidence) string {
	switch c {
	case PlatesBare:
		return explainBare(e)
	case LevelUnknown:
		return "The electrolyte level is not known because " + e.Fault.Text() + "."
	case PackUnknown:
		return explainName(e)
	case TemperatureUnknown:
		return "The pack temperature is not known because " + e.Fault.Text() + "."
	case VoltageUnknown:
		return "The pack voltage is not known because " + e.Fault.Text() + "."
	case CurrentUnknown:
		return "The charging current is not known because " + e.Fault.Text() + "."
	case VoltageImplausible:
		return explainVoltage(e)
	case PackHot:
		return fmt.Sprintf("The electrolyte is or was too hot to charge; it is at %.1f °C now, and charging resumes at %.1f °C or below.", e.Value, e.Limit)
	case PackFrozen:
		return fmt.Sprintf("The electrolyte is at %.1f °C; at its estimated gravity it must be above %.1f °C.", e.Value, e.Limit)
	case AirflowUnproven, HydrogenHigh:
		return explainAir(c, e)
	case ChargeOverrun:
		if e.Reason == ByAmpereHours {
			return fmt.Sprintf("The charge put in %.0f Ah without becoming full; its ceiling is %.0f Ah.", e.Value, e.Limit)
		}
		return fmt.Sprintf("The charge ran %.1f h without ending; its ceiling is %.1f h.", e.Value, e.Limit)
	case Runaway:
		return fmt.Sprintf("At constant voltage the current rose by %.1f A while the pack warmed by %.1f K.", e.Value, e.Limit)
	case ContactorStuck:
		if e.Reason == ByCurrent {
			return fmt.Sprintf("%.1f A still charge the pack although the contactor is ordered open.", e.Value)
		}
		return "The feedback contact says closed although the contactor is ordered open."
	case ContactorOpen:
		return explainOpen(e)
	case VisitOpen:
		return "A visit is open; the charge stays locked out until it is closed."
	case Held:
		if e.Reason == Forgotten {
			return "What people had ordered before the restart cannot be read: a visit may be open or a finding latched. The bay is held until a person has looked and takes the hold back."
		}
		return "A person has put the bay on hold."
	case AgentUnready:
		return explainUnready(e)
	case WaterBalance:
		return fmt.Sprintf("The level differs by %.1f mm from what the charge records predict; %.1f mm are allowed.", e.Value, e.Limit)
	case RecordFailing:
		return "The logbook cannot be written."
	case NoCode, NumCodes:
	}
	return "Unknown finding."
}

func explainBare(e Evidence) string {
	switch {
	case e.Reason == NotYetCharge:
		return fmt.Sprintf("Electrolyte stands %.1f mm above the plate tops; a charge needs at least %.1f mm.", e.Value, e.Limit)
	case e.Value > 0:
		return fmt.Sprintf("The plates were bare; electrolyte now stands %.1f mm above their tops, a charge needs at least %.1f mm.", e.Value, e.Limit)
	}
	return fmt.Sprintf("Electrolyte stands at %.1f mm; the plate tops are at 0 mm, a charge needs at least %.1f mm.", e.Value, e.Limit)
}

func explainName(e Evidence) string {
	switch e.Reason {
	case NoSensor:
		return "No pack's own sensor answers at this bay, so it is not known which pack is plugged in."
	case TwoSensors:
		return "The sensors of several packs answer at this bay at once."
	case PackChanged:
		return "Another pack's sensor answers than before, although no pack was unplugged: unplug it and plug it in again, or name it."
	case Elsewhere:
		return "Another bay says that it has this pack, or has its visit open: a pack cannot stand in two bays."
	default:
		return "Nobody has said yet which pack is plugged in."
	}
}

func explainAir(c Code, e Evidence) string {
	switch {
	case c == AirflowUnproven && e.Fault != reading.None:
		return "The fan's proof is not read because " + e.Fault.Text() + "."
	case c == AirflowUnproven:
		return "The fan's proof switch says that no air moves."
	case e.Fault != reading.None:
		return "The hydrogen sensor is not read because " + e.Fault.Text() + "."
	}
	return fmt.Sprintf("Hydrogen is at %.2f %% by volume; charging resumes below %.2f %%.", e.Value, e.Limit)
}

func explainOpen(e Evidence) string {
	switch {
	case e.Reason == ByCurrent:
		return fmt.Sprintf("The contactor is ordered closed and %.1f A flow, but its feedback contact does not say closed: the contact or its wire is broken.", e.Value)
	case e.Fault != reading.None:
		return "The contactor is ordered closed and its feedback contact is not read because " + e.Fault.Text() + "."
	default:
		return "The contactor is ordered closed, but its feedback contact says open and no current is seen: the pack is not charging."
	}
}

func explainVoltage(e Evidence) string {
	switch e.Reason {
	case Reversed:
		return fmt.Sprintf("The pack shows %.2f V for each cell: it is connected the wrong way round.", e.Value)
	case TooHigh:
		return fmt.Sprintf("The pack shows %.2f V for each cell, more than %.2f V: wrong pack, or a broken sense lead.", e.Value, e.Limit)
	default:
		return fmt.Sprintf("The pack shows %.2f V for each cell, less than %.2f V: wrong pack, a dead cell, or a broken sense lead.", e.Value, e.Limit)
	}
}

func explainUnready(e Evidence) string {
	switch e.Reason {
	case NoPack:
		return "No pack is connected."
	case ContactorRest:
		return fmt.Sprintf("The contactor rests; %.0f s left.", e.Value)
	case LateTick:
		return "A tick was late and the guard has opened the relay."
	case Restored:
		return fmt.Sprintf("After a restart the memory was in doubt; readings must be good for %.0f s more.", e.Value)
	default:
		return fmt.Sprintf("Readings must be good for %.0f s more.", e.Value)
	}
}
