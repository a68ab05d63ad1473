package web

import (
	"strings"

	"bayward/agent/interlock"
	"bayward/agent/reading"
)

// explain says in a person's language and units why a finding stands.
func (v view) explain(c interlock.Code, e interlock.Evidence) string {
	key := "evidence." + c.String() + variant(c, e)
	switch c {
	case interlock.PlatesBare, interlock.WaterBalance:
		return v.say(key, v.height(e.Value, 1), v.height(e.Limit, 1))
	case interlock.PackHot, interlock.PackFrozen:
		return v.say(key, v.temperature(e.Value), v.temperature(e.Limit))
	case interlock.Runaway:
		return v.say(key, e.Value, v.degrees(e.Limit))
	case interlock.VoltageImplausible, interlock.ChargeOverrun:
		if c == interlock.VoltageImplausible && e.Reason == interlock.Reversed {
			return v.say(key, e.Value)
		}
		return v.say(key, e.Value, e.Limit)
	case interlock.HydrogenHigh:
		if e.Fault != reading.None {
			return v.say(key, v.fault(e.Fault))
		}
		return v.say(key, e.Value, e.Limit)
	case interlock.LevelUnknown, interlock.TemperatureUnknown, interlock.VoltageUnknown, interlock.CurrentUnknown:
		return v.say(key, v.fault(e.Fault))
	case interlock.AirflowUnproven, interlock.ContactorOpen, interlock.ContactorStuck:
		return v.explainContact(key, e)
	case interlock.AgentUnready:
		if e.Reason == interlock.NoPack || e.Reason == interlock.LateTick {
			return v.say(key)
		}
		return v.say(key, e.Value)
	case interlock.VisitOpen, interlock.Held, interlock.RecordFailing, interlock.PackUnknown:
		return v.say(key)
	default: // a code that is newer than these words
		return interlock.Explain(c, e)
	}
}

func (v view) explainContact(key string, e interlock.Evidence) string {
	switch {
	case strings.HasSuffix(key, ".current"):
		return v.say(key, e.Value)
	case strings.HasSuffix(key, ".fault"):
		return v.say(key, v.fault(e.Fault))
	}
	return v.say(key)
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
