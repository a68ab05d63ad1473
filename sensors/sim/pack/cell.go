package pack

import "math"

// The constants of the gassing branch for one 500 Ah traction cell, Ceraolo
// (2000), Barsali and Ceraolo (2002), from memory: current = V * gasSiemens *
// exp(V/gasVolts + gasHeat*(1 - T/gasFreezeC)).
const (
	gasSiemens  = 2e-12
	gasVolts    = 0.1
	gasHeat     = 2.0
	gasFreezeC  = -40.0
	gasCellAh   = 500.0
	gasNewShare = 0.5 // of a cell that is not old; invented
)

// slowS is the time constant of the slow polarisation, Ceraolo (2000).
const slowS = 5000.0

// cell is one 2 V cell. Currents are positive on charge.
type cell struct {
	capacityAh float64 // at the pack's rate
	c10Ah      float64 // at the ten-hour rate, which Copetti's equations use
	gasShare   float64 // of the gassing of a common cell
	selfShare  float64 // of the self-discharge of a common cell

	soc   float64 // 0 to 1
	slowV float64 // slow polarisation

	// The electrical state of this step.
	volts          float64
	mainA, gasA    float64
	baseV          float64 // voltage without current
	chargeS        float64 // conductance of the charge reaction
	dischgOhm      float64 // of the discharge, the part that does not depend on the current
	dischgShare    float64 // of both, in ohms
	gasS, gasBaseA float64 // gassing: current = gasS*V*exp(V/gasVolts) - gasBaseA

	gassingAh, selfAh float64
	level             level
}

// prepare sets the inputs of the step's solution: electrode potentials, the
// charge's conductance at the last current, and the effect of temperature.
func (c *cell) prepare(t thermal, restV float64) {
	c.baseV = restV + c.slowV
	amps := math.Abs(c.mainA)
	// Copetti, Lorenzo and Chenlo (1993), charge and discharge.
	toGo := max(1-c.soc, 1e-6)
	charge := 6/(1+power(amps, 0.86)) + 0.48*power(toGo, -1.2) + 0.036
	c.chargeS = c.c10Ah / (charge * t.chargeShare)
	left := max(c.soc, 1e-3)
	c.dischgOhm = 0.27/(left*math.Sqrt(left)) + 0.02
	c.dischgShare = t.dischargeShare / c.c10Ah
	c.gasS = gasSiemens * gasNewShare * c.capacityAh / gasCellAh * c.gasShare * t.gasFactor
	c.gasBaseA = c.gasS * c.baseV * math.Exp(c.baseV/gasVolts)
}

// currents returns both currents of a charge and their slope at a cell voltage.
func (c *cell) currents(v float64) (mainA, gasA, slopeS float64) {
	over := v - c.baseV
	e := c.gasS * math.Exp(v/gasVolts)
	return over * c.chargeS, e*v - c.gasBaseA, c.chargeS + e*(1+v/gasVolts)
}

// solve finds the voltage at which the two currents add up to amps, and returns
// the cell's resistance there. Both rise with the voltage, so there is one.
func (c *cell) solve(amps float64) (ohm float64) {
	const stepV, doneV = 0.1, 1e-8
	if amps < 0 { // there is no gassing below the rest voltage
		// Use this step's current: with the previous one, zero, the voltage would
		// sag for one step as if the pack were empty.
		ohm = (4/(1+power(-amps, 1.3)) + c.dischgOhm) * c.dischgShare
		c.volts, c.mainA, c.gasA = c.baseV+amps*ohm, amps, 0
		return ohm
	}
	c.volts = max(c.volts, c.baseV)
	if amps == 0 {
		c.volts = c.baseV
	}
	for range 60 {
		mainA, gasA, slopeS := c.currents(c.volts)
		dv := min(max((amps-mainA-gasA)/slopeS, -stepV), stepV)
		c.volts += dv
		ohm = 1 / slopeS
		if math.Abs(dv) < doneV {
			break
		}
	}
	_, gasA, _ := c.currents(c.volts)
	c.gasA = min(max(gasA, 0), amps)
	c.mainA = amps - c.gasA
	return ohm
}

// advance advances the chemistry by dt seconds at the solved currents.
func (c *cell) advance(dtS, selfPerS, restV float64) {
	hours, selfA := dtS/3600, c.selfA(selfPerS)
	c.soc += (c.mainA - selfA) * hours / c.capacityAh
	c.gassingAh += c.gasA * hours
	c.selfAh += selfA * hours
	c.level.loseWater((c.gasA + selfA) * hours)
	target := 0.0
	// The zero-current terms of Copetti's two equations, reached in time.
	switch {
	case c.mainA > 1e-4*c.c10Ah:
		target = 2 + 0.16*c.soc - restV
	case c.mainA < -1e-4*c.c10Ah:
		target = 2.085 - 0.12*(1-c.soc) - restV
	}
	c.slowV += (target - c.slowV) * (1 - math.Exp(-dtS/slowS))
}

// selfA returns the self-discharge current now.
func (c *cell) selfA(selfPerS float64) float64 {
	return selfPerS * 3600 * c.selfShare * max(c.soc, 0) * c.capacityAh
}

// ChargeEfficiency returns Copetti, Lorenzo and Chenlo's charge efficiency for a
// current in units of the ten-hour current. The simulated cells do not use it; they
// are tested against it.
func ChargeEfficiency(soc, perI10 float64) float64 {
	return 1 - math.Exp(20.73/(perI10+0.55)*(soc-1))
}

// tenHourAh turns a capacity at another rate into the ten-hour capacity by
// Copetti's capacity equation, C/C10 = 1.67/(1 + 0.67*(I/I10)^0.9).
func tenHourAh(capacityAh, rateHours float64) float64 {
	c10 := capacityAh
	for range 30 {
		perI10 := capacityAh * 10 / (rateHours * c10)
		c10 = capacityAh * (1 + 0.67*math.Pow(perI10, 0.9)) / 1.67
	}
	return c10
}

// power returns x to the y for x >= 0, in half the time of math.Pow.
func power(x, y float64) float64 { return math.Exp(y * math.Log(x+1e-12)) }
