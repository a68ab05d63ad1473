package pack

import "math"

const (
	waterGPerAh    = 18.01528 / (2 * 96485.33212) * 3600 // one water molecule for two electrons: 0.3361 g
	waterGPerML    = 0.99705                             // at 25 °C
	acidPerK       = 5.9e-4                              // expansion of 34 to 38 % acid, Laliberté (2009)
	gasMLPerAh     = 1.5 * 24465.4 / (2 * 96485.33212) * 3600
	gasStayS       = 15.0 // how long a bubble stays between the plates; invented
	gasBuildS      = 240.0
	gasLeaveS      = 1200.0
	sloshMM        = 2.5 // after the machine is moved; invented
	sloshCalmS     = 40.0
	sloshPeriodS   = 1.3
	belowTopsShare = 0.5 // fraction of the cross-section that is liquid between the plates; invented
	mmCM2PerML     = 10.0
	ventWellMargin = 1e-9
)

// level is the liquid of one cell.
type level struct {
	areaCM2      float64
	ventWellMM   float64
	acidML       float64 // all electrolyte at fill mark, for expansion
	liquidML     float64 // above the plate tops, settled, at 25 °C, without gas
	gasML        float64 // trapped between the plates
	sloshPhase   float64
	lostML       float64
	addedML      float64
	overflowedML float64
}

// volumeML returns the liquid above the plate tops for a level.
func (l *level) volumeML(levelMM float64) float64 {
	ml := levelMM * l.areaCM2 / mmCM2PerML
	if ml < 0 {
		ml *= belowTopsShare
	}
	return ml
}

// levelMM returns the level for a volume above the plate tops.
func (l *level) levelMM(ml float64) float64 {
	if ml < 0 {
		ml /= belowTopsShare
	}
	return ml * mmCM2PerML / l.areaCM2
}

// settledMM returns the level at 25 °C without gas.
func (l *level) settledMM() float64 { return l.levelMM(l.liquidML) }

// standingMM returns the level now, without slosh.
func (l *level) standingMM(packC float64) float64 {
	return l.levelMM(l.liquidML + acidPerK*(packC-25)*l.acidML + l.gasML)
}

// loseWater removes the water that an amount of gassing decomposes.
func (l *level) loseWater(ah float64) {
	ml := ah * waterGPerAh / waterGPerML
	l.liquidML -= ml
	l.lostML += ml
}

// add pours water in.
func (l *level) add(ml float64) {
	l.liquidML += ml
	l.addedML += ml
}

// holdGas advances the gas trapped between the plates by dt seconds.
func (l *level) holdGas(dtS, gasA, packC float64) {
	target := gasA / 3600 * gasMLPerAh * (packC + 273.15) / 298.15 * gasStayS
	tau := gasBuildS
	if target < l.gasML {
		tau = gasLeaveS
	}
	l.gasML += (target - l.gasML) * (1 - math.Exp(-dtS/tau))
}

// spill removes the liquid above the bottom of the vent well.
func (l *level) spill(packC float64) {
	over := l.standingMM(packC) - l.ventWellMM
	if over <= ventWellMargin {
		return
	}
	ml := over * l.areaCM2 / mmCM2PerML
	l.liquidML -= ml
	l.overflowedML += ml
}
