package interlock

import "bayward/agent/reading"

// judgeAirflow believes an airflow switch only once it has shown no air: one that is
// stuck or bridged never does.
func (l *Limits) judgeAirflow(r reading.Reading, neverOff bool) Judged {
	e := Evidence{Value: r.Value, Fault: r.Fault}
	switch {
	case !l.Fitted.Has(reading.Airflow):
		return Judged{Verdict: Clear}
	case !r.OK() || r.Value != 1:
		return Judged{Bad, e}
	case neverOff:
		e.Reason = NeverOff
		return Judged{Bad, e}
	}
	return Judged{Clear, e}
}

func (l *Limits) judgeHydrogen(r reading.Reading) Judged {
	if !l.Fitted.Has(reading.Hydrogen) {
		return Judged{Verdict: Clear}
	}
	e := Evidence{Value: r.Value, Limit: l.HydrogenResumePct, Fault: r.Fault}
	switch {
	case !r.OK():
		return Judged{Bad, e}
	case r.Value < l.HydrogenResumePct:
		return Judged{Clear, e}
	case r.Value < l.HydrogenMaxPct:
		return Judged{Between, e}
	default:
		return Judged{Bad, e}
	}
}

// judgeGas warns of hydrogen before hydrogen-high blocks, which also reports a sensor
// without a reading.
func (l *Limits) judgeGas(r reading.Reading) Judged {
	if !l.Fitted.Has(reading.Hydrogen) {
		return Judged{Verdict: Clear}
	}
	return rising(r, gasClearPct, gasPct)
}

// rising returns Bad at or above a limit, and Clear at or below the all-clear.
func rising(r reading.Reading, clearAt, limit float64) Judged {
	e := Evidence{Value: r.Value, Limit: limit, Fault: r.Fault}
	switch {
	case !r.OK():
		return Judged{Unjudged, e}
	case r.Value <= clearAt:
		return Judged{Clear, e}
	case r.Value < limit:
		return Judged{Between, e}
	default:
		return Judged{Bad, e}
	}
}
