package interlock

import (
	"time"

	"bayward/agent/reading"
)

// Verdict is the result of a rule's condition in one tick. The zero value is
// unknown and counts as bad.
type Verdict uint8

// The verdicts.
const (
	Unknown  Verdict = iota
	Bad              // the raise condition holds
	Unjudged         // its reading is missing, which is another finding: neither raises nor clears, and proves nothing good
	Between          // neither the raise condition nor the all-clear holds
	Away             // as Between, because there is nothing to judge: the pack is not here, or its level is not calm
	Clear            // the all-clear holds
)

// Judged is a verdict with the numbers behind it.
type Judged struct {
	Verdict  Verdict
	Evidence Evidence
}

// Limits are the bounds of the rules; see the fields of bay.Limits and
// bay.Pack with the same names.
type Limits struct {
	ChargeLevelMM                     float64
	ChargeMaxC, ChargeResumeC         float64
	HydrogenMaxPct, HydrogenResumePct float64
	OffMin, CloseDelay                time.Duration
	// Fitted are the sensors that are configured: what is configured and missing
	// is bad, what is not configured is not asked for.
	Fitted reading.Sensors
	StrayA float64 // A: current above this is not an offset of the sensor
}

// Voltages of one cell, V. A cell at rest or under load in a bay is between 1.75
// and 2.45; on charge it goes up to 2.85. The next smaller or larger usual pack on
// the same terminals is outside: 36 V on 48 V shows 1.58, 36 V on 24 V shows 3.15.
// Common practice, no source.
const (
	lowV, lowClearV       = 1.70, 1.75
	highV, highClearV     = 2.90, 2.85
	restV, restClearV     = 2.45, 2.42
	reversedV             = -0.30
	waterTolMM, waterOkMM = 4.0, 2.0
	doubtMM, doubtClearMM = 0.0, 0.5
	warmC, warmClearC     = 43.0, 41.0
	gasPct, gasClearPct   = 1.0, 0.8
)

// Inputs is what the rules see in one tick: readings as judged by age, and what the
// other rules of the core found.
type Inputs struct {
	Now   time.Duration
	Level reading.Level // of the lowest cell
	// BareCells is how many cells are bare by the record, whatever the probe reads.
	BareCells int
	// Overfilled is the first cell that was filled over its highest level for a charge,
	// 0 for none, and OverCells how many there are.
	Overfilled, OverCells int
	// SurelyMM is the careful lower bound of all cells' levels, valid with SurelyKnown.
	SurelyMM    float64
	SurelyKnown bool
	SurelyAt    Evidence
	CellV       reading.Reading // pack voltage over cells
	// CellsFit is the number of cells that fits the voltage at rest, 0 while not known, and
	// CellsOf the configured one.
	CellsFit, CellsOf int
	PackC             reading.Reading // as measured
	// WarmerK and ColderK are how much warmer and colder than PackC the electrolyte may
	// be, K, 0 or more: a sensor on the case shows only a share of its excess over the air.
	WarmerK, ColderK float64
	CurrentA         reading.Reading
	Hydrogen         reading.Reading // % by volume
	Airflow          reading.Reading // 1: air moves
	// AirNeverOff means that the airflow switch has never shown no air.
	AirNeverOff bool
	Feedback    reading.Reading // 1: contactor closed

	FreezingC float64 // °C, margin included
	Charged   bool    // this pack is or was just on charge, so its voltage may be high

	Overrun   Reason // ByHours, ByAmpereHours or AfterFull, or Usual for none
	OverrunAt Evidence
	Runaway   bool
	RunawayAt Evidence

	WaterKnown bool
	ApartMM    float64
	// UnrecordedMM is the rise of the level that no recorded water explains, 0 for none.
	UnrecordedMM float64
	// ReadOffMM is how far level readings always err to one side against the probe, up
	// when positive; 0 when they do not.
	ReadOffMM float64

	VisitOpen, Held, RecordFailing bool
	HeldAt                         Evidence
	LeaveFor                       time.Duration // until people have had the time to step back; 0 when over
	Ready                          bool          // readings checked and good
	ReadyAt                        Evidence      // while not Ready
	// Plug is the state of the plug: the pack's sensors leave with the pack.
	Plug Plug
	// Name is whether the pack is known.
	Name   Name
	NameAt Evidence // while not Named
}

// Name is whether the pack that is plugged in is known. The zero value blocks.
type Name uint8

// The states of the pack's name.
const (
	Unnamed Name = iota // unknown, or contradictory
	Sought              // still looking for its own sensor: not reported yet, and nothing may start
	Named
)

// Plug is whether a pack is there. With the zero value its sensors are judged.
type Plug uint8

// The states of the plug.
const (
	Plugged   Plug = iota
	Fading         // no voltage right now: missing readings of the pack's sensors are not reported yet
	Unplugged      // no pack: its sensors are not judged
)

// judge sets each rule's verdict.
func (l *Limits) judge(in *Inputs, orderedOpen bool, out *[NumCodes]Judged) {
	out[PlatesBare], out[LevelUnknown] = l.judgeLevel(in.Level, in.BareCells)
	out[Overfilled] = judgeOverfilled(in.Overfilled, in.OverCells)
	out[LevelDoubted] = judgeDoubted(in)
	out[PackUnknown] = judgeName(in.Name, in.NameAt, orderedOpen)
	out[TemperatureUnknown] = judgeWarmth(in.PackC, in.Name)
	out[VoltageUnknown] = known(in.CellV)
	out[CurrentUnknown] = l.judgeCurrent(in.CurrentA, in.CellV)
	out[VoltageImplausible] = judgeVoltage(in.CellV, in.Charged)
	out[PackHot] = onCase(below(shifted(in.PackC, in.WarmerK), l.ChargeResumeC, l.ChargeMaxC), in.WarmerK)
	out[PackFrozen] = onCase(judgeFrozen(shifted(in.PackC, -in.ColderK), in.FreezingC), in.ColderK)
	out[AirflowUnproven] = l.judgeAirflow(in.Airflow, in.AirNeverOff)
	out[HydrogenHigh] = l.judgeHydrogen(in.Hydrogen)
	out[ChargeOverrun] = unless(in.Overrun != Usual, in.OverrunAt)
	out[Runaway] = unless(in.Runaway, in.RunawayAt)
	out[ContactorStuck] = l.judgeStuck(in, orderedOpen)
	out[ContactorOpen] = l.judgeOpen(in, orderedOpen)
	out[VisitOpen] = unless(in.VisitOpen, Evidence{})
	out[Held] = unless(in.Held, in.HeldAt)
	out[CloseDelay] = unless(in.LeaveFor != 0, Evidence{Value: in.LeaveFor.Seconds(), Limit: l.CloseDelay.Seconds()})
	// Without a pack its sensors are not judged below, so nothing may start.
	out[AgentUnready] = unless(!in.Ready || in.Plug == Unplugged || in.Plug == Fading && orderedOpen, in.ReadyAt)
	out[HydrogenWarning] = l.judgeGas(in.Hydrogen)
	out[PackWarm] = onCase(rising(shifted(in.PackC, in.WarmerK), warmClearC, warmC), in.WarmerK)
	out[WaterBalance] = judgeWater(in.WaterKnown, in.ApartMM)
	out[WaterUnrecorded] = unless(in.UnrecordedMM != 0, Evidence{Value: in.UnrecordedMM})
	out[ReadingsOff] = judgeReadings(in.ReadOffMM)
	out[CellsMiscounted] = judgeCells(in.CellsFit, in.CellsOf)
	out[RecordFailing] = unless(in.RecordFailing, Evidence{})
	judgePlug(in.Plug, out)
}

// judgePlug keeps an unplugged pack from being reported as broken sensors. The
// permit does not depend on that: an agent without a pack is not ready.
func judgePlug(p Plug, out *[NumCodes]Judged) {
	if p == Plugged {
		return
	}
	for _, c := range [...]Code{LevelUnknown, TemperatureUnknown, VoltageImplausible, PackHot, PackWarm, PackFrozen} {
		switch {
		case p == Unplugged:
			out[c].Verdict = Clear
		case out[c].Verdict == Bad:
			out[c].Verdict = Unjudged
		}
	}
	switch {
	case p == Unplugged:
		out[PlatesBare].Verdict = Away // the plates are elsewhere: no verdict on them
		out[PackUnknown].Verdict = Clear
		out[LevelDoubted].Verdict = Clear
	case out[PlatesBare].Verdict == Bad:
		out[PlatesBare].Verdict = Unjudged
	}
}

// unless returns Clear unless the condition holds.
func unless(bad bool, e Evidence) Judged {
	if bad {
		return Judged{Bad, e}
	}
	return Judged{Clear, e}
}

func known(r reading.Reading) Judged {
	return unless(!r.OK(), Evidence{Value: r.Value, Fault: r.Fault})
}

// judgeName allows looking for a pack only while open is ordered: a name that goes
// missing on charge is bad at once.
func judgeName(n Name, e Evidence, orderedOpen bool) Judged {
	switch {
	case n == Named:
		return Judged{Verdict: Clear}
	case n == Sought && orderedOpen:
		return Judged{Between, e}
	default:
		return Judged{Bad, e}
	}
}

// judgeWarmth: a pack whose own sensor does not give its name has no temperature
// either. That is reported once, as the name.
func judgeWarmth(packC reading.Reading, n Name) Judged {
	j := known(packC)
	if j.Verdict == Bad && n != Named {
		j.Verdict = Unjudged
	}
	return j
}

// judgeCurrent requires the current only where a sensor is configured: without it
// neither the end of a charge nor its overrun could be seen. A converter that takes
// the voltage with it is reported once, as the voltage.
func (l *Limits) judgeCurrent(currentA, cellV reading.Reading) Judged {
	if !l.Fitted.Has(reading.PackCurrent) {
		return Judged{Verdict: Clear}
	}
	j := known(currentA)
	if j.Verdict == Bad && !cellV.OK() {
		j.Verdict = Unjudged
	}
	return j
}

func judgeVoltage(v reading.Reading, charged bool) Judged {
	hi, hiClear := restV, restClearV
	if charged {
		hi, hiClear = highV, highClearV
	}
	e := Evidence{Value: v.Value, Fault: v.Fault}
	switch {
	case !v.OK():
		return Judged{Unjudged, e}
	case v.Value < reversedV:
		e.Reason = Reversed
		return Judged{Bad, e}
	case v.Value < lowV:
		e.Reason, e.Limit = TooLow, lowV
		return Judged{Bad, e}
	case v.Value > hi:
		e.Reason, e.Limit = TooHigh, hi
		return Judged{Bad, e}
	case v.Value >= lowClearV && v.Value <= hiClear:
		return Judged{Clear, e}
	case v.Value < lowClearV:
		e.Reason, e.Limit = TooLow, lowClearV
		return Judged{Between, e}
	case v.Value > hiClear:
		e.Reason, e.Limit = TooHigh, hiClear
		return Judged{Between, e}
	default: // NaN
		return Judged{Bad, e}
	}
}

// shifted is a reading moved by an allowance.
func shifted(r reading.Reading, by float64) reading.Reading {
	r.Value += by
	return r
}

// onCase notes that the figure is the electrolyte's, worked out from a sensor on the
// case.
func onCase(j Judged, allowedK float64) Judged {
	if allowedK != 0 {
		j.Evidence.Reason = OnCase
	}
	return j
}

// below returns Clear at or below resume, Bad above limit.
func below(r reading.Reading, resume, limit float64) Judged {
	e := Evidence{Value: r.Value, Limit: resume, Fault: r.Fault}
	switch {
	case !r.OK():
		return Judged{Unjudged, e}
	case r.Value <= resume:
		return Judged{Clear, e}
	case r.Value <= limit:
		return Judged{Between, e}
	default:
		return Judged{Bad, e}
	}
}

// judgeFrozen clears one degree above the limit, so that noise does not chatter.
func judgeFrozen(r reading.Reading, freezingC float64) Judged {
	e := Evidence{Value: r.Value, Limit: freezingC, Fault: r.Fault}
	switch {
	case !r.OK():
		return Judged{Unjudged, e}
	case r.Value > freezingC+1:
		return Judged{Clear, e}
	case r.Value > freezingC:
		return Judged{Between, e}
	default:
		return Judged{Bad, e}
	}
}

// judgeStuck compares the order to open with the contact and the current. While
// closed is ordered there is no verdict. Everything configured must show open
// before it counts as open.
func (l *Limits) judgeStuck(in *Inputs, orderedOpen bool) Judged {
	switch {
	case !orderedOpen:
		return Judged{Verdict: Between}
	case in.CurrentA.OK() && !(in.CurrentA.Value <= l.StrayA):
		return Judged{Bad, Evidence{Value: in.CurrentA.Value, Reason: ByCurrent}}
	case l.Fitted.Has(reading.ContactorFeedback) && in.Feedback.OK() && in.Feedback.Value != 0:
		return Judged{Verdict: Bad}
	case l.Fitted.Has(reading.ContactorFeedback) && !in.Feedback.OK(), l.Fitted.Has(reading.PackCurrent) && !in.CurrentA.OK():
		return Judged{Verdict: Unjudged}
	}
	return Judged{Verdict: Clear}
}

// judgeOpen compares the order to close with the contact. If current flows the
// contactor is closed, so the contact itself is broken and can no longer show a
// contactor that sticks.
func (l *Limits) judgeOpen(in *Inputs, orderedOpen bool) Judged {
	switch {
	case !l.Fitted.Has(reading.ContactorFeedback):
		return Judged{Verdict: Clear}
	case orderedOpen:
		return Judged{Verdict: Between}
	case in.Feedback.OK() && in.Feedback.Value == 1:
		return Judged{Verdict: Clear}
	}
	e := Evidence{Fault: in.Feedback.Fault}
	if in.CurrentA.OK() && in.CurrentA.Value > l.StrayA {
		e.Value, e.Reason = in.CurrentA.Value, ByCurrent
	}
	return Judged{Bad, e}
}

// judgeCells warns when another number of cells fits better. 0 is not known: of another
// pack, or none has rested yet.
func judgeCells(fit, of int) Judged {
	e := Evidence{Value: float64(fit), Limit: float64(of), Fault: reading.None}
	if fit > of {
		e.Reason = MoreCells
	}
	return unless(fit != 0 && fit != of, e)
}

func judgeWater(known bool, apartMM float64) Judged {
	e := Evidence{Value: apartMM, Limit: waterTolMM}
	switch {
	case !known:
		return Judged{Away, e}
	case apartMM <= waterOkMM && apartMM >= -waterOkMM:
		return Judged{Clear, e}
	case apartMM <= waterTolMM && apartMM >= -waterTolMM:
		return Judged{Between, e}
	default: // or NaN
		return Judged{Bad, e}
	}
}
