package pack

import "math"

const (
	neutralV         = 1.48   // thermoneutral voltage of water decomposition (from memory)
	joulePerKgK      = 1004.0 // a lead-acid pack in the System Advisor Model's published tests
	kgPerAhCell      = 0.042  // traction blocks; invented
	kelvin           = 273.15
	selfRefK         = 299.85 // 80 °F
	selfPerDay       = 0.001  // specific gravity a day at 80 °F, TM 9-6140-200-14 4-8c
	selfActivationK  = 6900.0 // through the same source's rates at 50 and 100 °F
	secondsPerDay    = 86400.0
	probeLagS        = 300.0 // of a temperature probe on a cell's lid; invented
	copettiChargeK   = 0.025
	copettiDischrgeK = 0.007
)

// thermal is the effect of the temperature on the cells, calculated once for a step.
type thermal struct {
	packC, gasFactor            float64
	chargeShare, dischargeShare float64
	selfPerS                    float64 // fraction of capacity that a full cell loses
}

// at calculates the temperature's factors.
func (t *thermal) at(packC float64) {
	if packC == t.packC && t.gasFactor != 0 {
		return
	}
	t.packC = packC
	t.gasFactor = math.Exp(gasHeat * (1 - packC/gasFreezeC))
	// Copetti's lines are for mild temperatures; they are limited before they make
	// a resistance negative.
	t.chargeShare = min(max(1-copettiChargeK*(packC-25), 0.3), 2)
	t.dischargeShare = min(max(1-copettiDischrgeK*(packC-25), 0.3), 2)
	t.selfPerS = SelfDischargePerDay(packC) / gravitySpan / secondsPerDay
}

// SelfDischargePerDay returns the specific gravity that a full cell loses in a day
// at a temperature in °C.
func SelfDischargePerDay(packC float64) float64 {
	return selfPerDay * math.Exp(selfActivationK*(1/selfRefK-1/(packC+kelvin)))
}

// CooledC returns, by Newton's law, the temperature after hours of rest at a steady
// ambient, for a time constant in hours.
func CooledC(startC, ambientC, tauH, hours float64) float64 {
	return ambientC + (startC-ambientC)*math.Exp(-hours/tauH)
}

// warm advances the pack's temperature by dt seconds of heat, exactly for steady
// heat and ambient.
func (p *Battery) warm(dtS, watts, ambientC float64) {
	end := ambientC + watts*p.spec.TauH*3600/p.jouleK
	p.packC = CooledC(p.packC, end, p.spec.TauH, dtS/3600)
	p.probeC += (p.packC - p.probeC) * (1 - math.Exp(-dtS/probeLagS))
	p.heatJ += watts * dtS
}

// heatW returns the heat now: the power put in, minus the enthalpy of what is stored
// and of what leaves as gas.
func (p *Battery) heatW(packA float64) float64 {
	watts := 0.0
	for i := range p.cells {
		c := &p.cells[i]
		selfA := c.selfA(p.heat.selfPerS)
		storedV := p.restV[i] - restVPerK*(p.packC+kelvin)
		watts += c.volts*packA - storedV*(c.mainA-selfA) - neutralV*(c.gasA+selfA)
	}
	return watts
}
