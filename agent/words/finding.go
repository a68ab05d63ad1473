package words

import (
	"strings"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// Evidence says in a person's language and units why a finding stands.
func (v Voice) Evidence(c interlock.Code, e interlock.Evidence) string {
	key := "evidence." + c.String() + variant(c, e)
	switch c {
	case interlock.PlatesBare, interlock.WaterBalance:
		return v.Say(key, v.HeightFine(e.Value), v.HeightFine(e.Limit))
	case interlock.PackHot, interlock.PackFrozen:
		return v.Say(key, v.Temperature(e.Value), v.Temperature(e.Limit))
	case interlock.Runaway:
		return v.Say(key, e.Value, v.Degrees(e.Limit))
	case interlock.VoltageImplausible, interlock.ChargeOverrun:
		if c == interlock.VoltageImplausible && e.Reason == interlock.Reversed {
			return v.Say(key, e.Value)
		}
		return v.Say(key, e.Value, e.Limit)
	case interlock.HydrogenHigh:
		if e.Fault != reading.None {
			return v.Say(key, v.Fault(e.Fault))
		}
		return v.Say(key, e.Value, e.Limit)
	case interlock.LevelUnknown, interlock.TemperatureUnknown, interlock.VoltageUnknown, interlock.CurrentUnknown:
		return v.Say(key, v.Fault(e.Fault))
	case interlock.AirflowUnproven, interlock.ContactorOpen, interlock.ContactorStuck:
		return v.explainContact(key, e)
	case interlock.AgentUnready:
		if e.Reason == interlock.NoPack || e.Reason == interlock.LateTick {
			return v.Say(key)
		}
		return v.Say(key, e.Value)
	case interlock.VisitOpen, interlock.Held, interlock.RecordFailing, interlock.PackUnknown:
		return v.Say(key)
	default: // a code that is newer than these words
		return interlock.Explain(c, e)
	}
}

func (v Voice) explainContact(key string, e interlock.Evidence) string {
	switch {
	case strings.HasSuffix(key, ".current"):
		return v.Say(key, e.Value)
	case strings.HasSuffix(key, ".fault"):
		return v.Say(key, v.Fault(e.Fault))
	}
	return v.Say(key)
}

// variant tells apart the ways in which one finding can come about.
func variant(c interlock.Code, e interlock.Evidence) string {
	bad := e.Fault > reading.None
	switch {
	case c == interlock.PlatesBare && (e.Reason == interlock.NotYetCharge || e.Value > 0):
		return ".low"
	case (c == interlock.ContactorStuck || c == interlock.ContactorOpen) && e.Reason == interlock.ByCurrent:
		return ".current"
	case (c == interlock.AirflowUnproven || c == interlock.ContactorOpen) && bad, c == interlock.HydrogenHigh && e.Fault != reading.None:
		return ".fault"
	case c == interlock.AirflowUnproven && e.Fault != reading.None:
		return ".fault"
	case c == interlock.ChargeOverrun && e.Reason == interlock.ByAmpereHours:
		return ".ah"
	}
	switch c {
	case interlock.VoltageImplausible:
		return map[interlock.Reason]string{interlock.Reversed: ".reversed", interlock.TooHigh: ".high"}[e.Reason]
	case interlock.PackUnknown:
		return map[interlock.Reason]string{
			interlock.NoSensor: ".nosensor", interlock.TwoSensors: ".two", interlock.PackChanged: ".changed", interlock.Elsewhere: ".elsewhere",
		}[e.Reason]
	case interlock.AgentUnready:
		return map[interlock.Reason]string{
			interlock.NoPack: ".nopack", interlock.ContactorRest: ".rest", interlock.LateTick: ".late", interlock.Restored: ".restored",
		}[e.Reason]
	default:
		return ""
	}
}
