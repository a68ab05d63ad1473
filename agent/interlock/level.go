package interlock

import "bayward/agent/reading"

// judgeLevel judges both findings about the level. While the level is unknown there
// is no verdict on the plates: one broken wire is one finding.
func (l *Limits) judgeLevel(c reading.Level, bareCells int) (bare, unknown Judged) {
	unknown = unless(!c.Usable(), Evidence{Value: c.LowMM, Fault: c.Fault})
	e := Evidence{Value: c.LowMM, Limit: l.ChargeLevelMM, Fault: c.Fault}
	switch {
	case bareCells != 0:
		return Judged{Bad, Evidence{Value: float64(bareCells), Limit: l.ChargeLevelMM, Fault: reading.None, Reason: CellsBare}}, unknown
	case !c.Usable():
		return Judged{Unjudged, e}, unknown
	case c.LowMM >= l.ChargeLevelMM:
		return Judged{Clear, e}, unknown
	case c.LowMM > 0:
		e.Reason = BelowChargeLevel
		return Judged{Between, e}, unknown
	default: // at or below the plate tops, or NaN
		return Judged{Bad, e}, unknown
	}
}

// judgeOverfilled goes by what people recorded: no probe sees the other cells.
func judgeOverfilled(cell, cells int) Judged {
	e := Evidence{Value: float64(cell), Limit: float64(cells), Fault: reading.None}
	if cells > 1 {
		e.Reason = Several
	}
	return unless(cells != 0, e)
}

// judgeDoubted goes by what is known of each cell, not by the probe of one. Without a
// level, a temperature or a pack there is nothing to count from yet, and each of those
// blocks by itself.
func judgeDoubted(in *Inputs) Judged {
	e := in.SurelyAt
	e.Fault = reading.None
	switch {
	case !in.SurelyKnown && (!in.Level.Usable() || !in.PackC.OK() || in.Name != Named):
		return Judged{Unjudged, e}
	case !in.SurelyKnown:
		e.Reason = NeverRead
		return Judged{Bad, e}
	case in.SurelyMM >= doubtClearMM:
		return Judged{Clear, e}
	case in.SurelyMM > doubtMM:
		return Judged{Between, e}
	default: // or NaN
		return Judged{Bad, e}
	}
}

// judgeReadings names level readings that always err to one side against the probe.
func judgeReadings(offMM float64) Judged {
	switch {
	case offMM > 0:
		return Judged{Bad, Evidence{Value: offMM}}
	case offMM < 0:
		return Judged{Bad, Evidence{Value: -offMM, Reason: TooLow}}
	}
	return unless(offMM != 0, Evidence{}) // not a number is bad
}
