package electrolyte

import "math"

// Rest voltage of one cell and what follows from it.
const (
	// RestOffsetV is the rest voltage above the number of the gravity, V
	// (DOE-HDBK-1084-95). TM 5-684/MO-200 prints 0.84; textbook tables fit 0.845.
	RestOffsetV = 0.845
	// RestVPerC is the change of rest voltage with temperature, V per °C (from
	// memory: +0.2 mV at gravities of 1.25 to 1.30, Harned and Hamer 1935 and
	// textbooks after them; the standard entropies of the cell reaction give 0.21).
	RestVPerC = 0.0002
	// RestFullRuleH is the time off charge after which the rule applies in full, h
	// (TM 5-684/MO-200).
	RestFullRuleH = 16.0
	// MinRestH is the shortest rest from which a state of charge is derived, h; the
	// project's own choice.
	MinRestH = 1.0
	// GravitySpan is the fall of gravity from full to flat: 1.280 to 1.140, the
	// default for traction cells. Army tables give 0.120 to 0.150. By acid mass it
	// belongs to 13.7 ml of electrolyte per ampere-hour; see [FrostSpan] for less.
	GravitySpan = 0.140
	// FrostSpan is the most by which gravity may fall until a cell is flat: what 10 ml
	// of electrolyte per ampere-hour, a small amount (common practice, no source),
	// lose by acid mass, 3.66 g of acid per ampere-hour. Weak acid freezes first, so
	// a rule against frost uses it.
	FrostSpan = 0.203
)

// Range of gravity for rest voltage, and of a full cell's gravity.
const (
	MinRestGravity = 1.05
	MaxRestGravity = 1.40
	MinFullGravity = 1.20
	MaxFullGravity = 1.34
)

// RestVoltage returns the voltage of a rested, mixed cell, V:
// sg25 + 0.845 + 0.2 mV/°C * (atC - 25). Range: a gravity outside
// [MinRestGravity, MaxRestGravity] gives NaN; atC is clamped to
// [MinModelC, MaxModelC].
//
// Error: 5 mV for gravities from 1.24 to 1.36, 9 mV down to 1.20, 16 mV down to
// 1.14, 21 mV below (true voltage is higher), against the potentials of Bode
// (1977); not checked above 1.36; 0.2 mV more per °C away from 25.
//
// Source: DOE-HDBK-1084-95, eq. 6; see [RestVPerC] for the temperature.
func RestVoltage(sg25, atC float64) float64 {
	if !(sg25 >= MinRestGravity && sg25 <= MaxRestGravity) {
		return math.NaN()
	}
	return sg25 + RestOffsetV + restShiftV(atC)
}

// GravityFromRestVoltage returns the gravity at 25 °C of a rested cell from its
// voltage; it inverts [RestVoltage]. A voltage whose gravity is outside
// [MinRestGravity, MaxRestGravity] gives NaN. Error and source as there: 0.001 per
// mV, so weak acid may be overestimated by up to 0.016. Before [RestFullRuleH] of
// rest a cell reads high after charge and low after discharge, see
// [StateOfChargeFromRest].
func GravityFromRestVoltage(cellV, atC float64) float64 {
	sg25 := cellV - RestOffsetV - restShiftV(atC)
	if !(sg25 >= MinRestGravity && sg25 <= MaxRestGravity) {
		return math.NaN()
	}
	return sg25
}

func restShiftV(atC float64) float64 {
	return RestVPerC * (clamp(atC, MinModelC, MaxModelC) - ReferenceC)
}

// StateOfChargeFromGravity returns the state of charge, 0 to 1, of a cell with
// gravity sg25 whose full gravity is fullGravity: linear over [GravitySpan]. Range:
// the result is clamped to 0 and 1; ok is false for a full gravity outside
// [MinFullGravity, MaxFullGravity] or a gravity outside 1.00 to 1.40.
//
// Error: 0.12 against Army tables, mostly near flat, because the span differs from
// battery to battery (0.120 to 0.150); none at full.
//
// Source: DOE-HDBK-1084-95 (gravity falls linearly with ampere-hours); span see
// [GravitySpan].
func StateOfChargeFromGravity(sg25, fullGravity float64) (soc float64, ok bool) {
	if !(sg25 >= 1.00 && sg25 <= 1.40) || !validFull(fullGravity) {
		return 0, false
	}
	return clamp(rawCharge(sg25, fullGravity), 0, 1), true
}

// StateOfChargeFromRest returns the state of charge, 0 to 1, of a cell that shows
// cellV after restedH hours without current, and a bound of its error. The bound is
// a sum: the voltage rule, the hydrometer scale of fullGravity (4 mV), the
// temperature coefficient, the surplus or deficit of charge still at the plates'
// surface (80 mV when rest begins, falling to a tenth in 9 h and to 1.5 mV at
// [RestFullRuleH]), and the unknown span, which counts for more the flatter the
// cell. At 25 °C and 16 h it is 0.08 for a full cell and 0.30 for a flat one.
//
// Range: ok is false, with 0 ± 1, when the rest is shorter than [MinRestH], the
// temperature is outside [MinModelC, MaxModelC], the full gravity is outside
// [MinFullGravity, MaxFullGravity], the voltage matches no gravity, or the charge
// it implies is further from 0 to 1 than the bound (dead cell, wrong cell count,
// surface charge). Otherwise soc is clamped to 0 and 1. One dead cell among twelve
// full ones reads flat: the voltage of the whole string cannot show which.
//
// Source: DOE-HDBK-1084-95 eq. 6 and TM 5-684/MO-200 (16 h); surface charge from
// the rests of the open 12 V 17 Ah record (Sulzer et al., J. Electrochem. Soc. 166,
// 2019, A2363): 35 to 60 mV in the first two hours.
func StateOfChargeFromRest(cellV, atC, fullGravity, restedH float64) (soc, plusMinus float64, ok bool) {
	sg25 := GravityFromRestVoltage(cellV, atC)
	if !(restedH >= MinRestH) || !InTemperatureRange(atC) || !validFull(fullGravity) || math.IsNaN(sg25) {
		return 0, 1, false
	}
	raw := rawCharge(sg25, fullGravity)
	soc = clamp(raw, 0, 1)
	const scaleErrV, spanErr = 0.004, 0.15
	voltageErr := ruleErrorV(sg25) + scaleErrV + RestVPerC*math.Abs(atC-ReferenceC) + surfaceChargeV(restedH)
	plusMinus = min(voltageErr/GravitySpan+spanErr*(1-soc), 1)
	if math.Abs(raw-soc) > plusMinus {
		return 0, 1, false
	}
	return soc, plusMinus, true
}

func validFull(sg float64) bool { return sg >= MinFullGravity && sg <= MaxFullGravity }

// rawCharge is the state of charge before any clamp.
func rawCharge(sg25, fullGravity float64) float64 { return 1 - (fullGravity-sg25)/GravitySpan }

// ruleErrorV bounds the error of the rest-voltage rule, V: 5.1 mV down to 1.236 and
// 1.1 mV more per 0.01 below, enough for every row of Bode's potentials.
func ruleErrorV(sg25 float64) float64 { return 0.0051 + 0.11*max(1.236-sg25, 0) }

// surfaceChargeV bounds how far a cell still is from its settled voltage, V.
func surfaceChargeV(restedH float64) float64 {
	const startV, hours = 0.080, 4.0
	return startV * math.Exp(-restedH/hours)
}
