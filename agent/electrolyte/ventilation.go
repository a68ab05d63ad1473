package electrolyte

import "math"

// Hydrogen in air, parts by volume, and the related times and distances.
const (
	// LowerFlammableFraction is the least hydrogen that burns in air: 4.0 % (ZVEI
	// leaflet 14, 2020; EN 62485). Canadian guidance prints 4.1 %; the lower is used.
	LowerFlammableFraction = 0.04
	// HydrogenWarnFraction is 25 % of that: the design limit of UFC 3-410-04N and
	// of US fire codes (the codes from memory).
	HydrogenWarnFraction = 0.01
	// HydrogenStopFraction is the ceiling of UFC 3-520-01 (same in IEEE 484, from
	// memory). Submarine rules stop at 3 % (California Title 8, 8386).
	HydrogenStopFraction = 0.02
	// MixingFactor is by how much a real room needs more air than a perfectly mixed one
	// (UFC 3-410-04N (2004), chapter 8, eq. 6).
	MixingFactor = 2.0
	// WarmElectrolyteC is the temperature for which that source works its example:
	// 92 °F.
	WarmElectrolyteC = 100.0 / 3
	// FanRunOnMin is how long forced ventilation continues after a charge, minutes
	// (BGHW SP 02). California Title 8, 8386, requires 30; the longer is used.
	FanRunOnMin = 60.0
	// SparkFreeMM is the air path from the battery to keep free of sparks, flames
	// and hot surfaces at a traction charging place, mm (EN 62485-3).
	SparkFreeMM = 500.0
)

// Bases of the ventilation figures, for reports. Clause numbers are from memory:
// look them up in the edition in force.
const (
	BasisTractionAirflow   = "EN IEC 62485-3 (clause 6.2), Q = 0.055 n Igas; ZVEI leaflet 14, 2020"
	BasisStationaryAirflow = "EN IEC 62485-2 (clause 7.2), Q = 0.05 n Igas C 0.001"
	BasisOpening           = "EN IEC 62485-2 and -3, A = 28 Q for inlet and for outlet, air at 0.1 m/s"
	BasisSafetyDistance    = "EN IEC 62485-2 (annex B), d = 28.8 cbrt(Igas) cbrt(C)"
	BasisFreeVolume        = "BGHW SP 02, free volume 2.5 Q"
)

// Factors of the European air-flow rule: dilute to 4 % (96/4 parts of air), with a
// safety factor of five.
const (
	dilution     = 24.0
	safetyFactor = 5.0

	tractionFactor   = 0.055 // m3/(A h): 24 * 0.4564e-3 * 5, rounded up
	stationaryFactor = 0.05  // m3/(A h): 24 * 0.42e-3 * 5, rounded down
	openingCM2PerQ   = 28.0  // 1 m3/h at 0.1 m/s is 27.8 cm2, rounded up
	freeVolumePerQ   = 2.5   // m3 per m3/h
	distanceFactor   = 28.8  // mm
)

// AirflowM3PerH returns the air flow that a charging place needs for one traction
// battery of cells in series on charge with a gas current of gasA (see
// [ChargerCurve]), m3/h: 0.055 cells gasA. Add the flows of batteries charged at
// the same time. Linear; a negative argument gives NaN.
//
// Error: the rule keeps a mixed room at 0.83 % hydrogen; it does not cover the
// space close to the cells. EN 50272-3, its predecessor, had 0.05 for gas at 0 °C;
// 0.055 is newer, for gas at 25 °C, and safer.
//
// Source: EN IEC 62485-3; factor as printed in ZVEI leaflet 14 (2020).
func AirflowM3PerH(cells int, gasA float64) float64 {
	return product(tractionFactor, float64(cells), gasA)
}

// AirflowFromGasM3PerH is the rule behind [AirflowM3PerH] with the hydrogen per
// ampere-hour and cell as an argument, m3/h: 24 * 5 * hydrogenLPerAh/1000 * cells *
// gasA. With 0.42 L it is the rule of EN 50272-3. A negative argument gives NaN.
//
// Source: EN 50272-3, Q = v q s n Igas.
func AirflowFromGasM3PerH(cells int, gasA, hydrogenLPerAh float64) float64 {
	return product(dilution*safetyFactor/1000, hydrogenLPerAh, float64(cells), gasA)
}

// StationaryAirflowM3PerH returns the air flow for a stationary battery of cells in
// series, m3/h: 0.05 cells gasMAPerAh capacityAh / 1000. gasMAPerAh includes its
// own safety factor: vented cells 5 on float (2.23 V), 20 on boost (2.40 V). A
// negative argument gives NaN.
//
// Source: EN IEC 62485-2 (EN 50272-2 before it), as quoted in trade articles.
func StationaryAirflowM3PerH(cells int, gasMAPerAh, capacityAh float64) float64 {
	return product(stationaryFactor/1000, float64(cells), gasMAPerAh, capacityAh)
}

// OpeningCM2 returns the free area of an inlet, and likewise of an outlet, for
// natural ventilation with airflowM3PerH, cm2: 28 times the flow. Place openings in
// opposite walls, or 2 m apart in one. A negative flow gives NaN.
//
// Error: assumes air at 0.1 m/s; measure in the worst season with doors shut.
// Source: EN IEC 62485-2 and -3.
func OpeningCM2(airflowM3PerH float64) float64 { return product(openingCM2PerQ, airflowM3PerH) }

// FreeVolumeM3 returns the least free volume of the room for airflowM3PerH, m3:
// 2.5 times the hourly flow. A negative flow gives NaN. Source: BGHW SP 02.
func FreeVolumeM3(airflowM3PerH float64) float64 { return product(freeVolumePerQ, airflowM3PerH) }

// SafetyDistanceMM returns the distance from a vent that must be kept clear of
// sparks, flames and glowing parts, mm: 28.8 cbrt(mAPerAh) cbrt(capacityAh), for
// one cell with its own vent. For a block whose N cells share a vent multiply by
// cbrt(N). At a traction charging place use at least [SparkFreeMM]. A negative
// argument gives NaN.
//
// Source: EN IEC 62485-2, annex on dispersion of gas (formula from memory).
func SafetyDistanceMM(mAPerAh, capacityAh float64) float64 {
	return product(distanceFactor, math.Cbrt(mAPerAh), math.Cbrt(capacityAh))
}

// DilutionM3PerH returns the air flow that keeps hydrogen of hydrogenLPerH at
// limitFraction in a perfectly mixed room, m3/h. No room is: a design uses
// [RoomDilutionM3PerH]. A release below 0 or a limit not above 0 gives NaN.
//
// Source: UFC 3-410-04N (2004), chapter 8, eq. 5.
func DilutionM3PerH(hydrogenLPerH, limitFraction float64) float64 {
	if !(limitFraction > 0) {
		return math.NaN()
	}
	return product(hydrogenLPerH/1000, 1/limitFraction)
}

// RoomDilutionM3PerH is [DilutionM3PerH] for a real room, m3/h: [MixingFactor] times
// the flow of a perfectly mixed one.
//
// Source: UFC 3-410-04N (2004), chapter 8, eq. 6, with the factor of its example.
func RoomDilutionM3PerH(hydrogenLPerH, limitFraction float64) float64 {
	return product(MixingFactor, DilutionM3PerH(hydrogenLPerH, limitFraction))
}

// WarmGasFactor returns by how much a battery at a held voltage gasses more than at
// 25 °C when its electrolyte is at electrolyteC: twice for each 15 °F. It is 1 or more.
//
// Source: UFC 3-410-04N (2004), chapter 8: the charging current doubles for each 15 °F
// above 77 °F.
func WarmGasFactor(electrolyteC float64) float64 {
	const doublesK = 15 / 1.8
	return max(math.Exp2((electrolyteC-25)/doublesK), 1)
}

// HydrogenFraction returns the steady fraction of hydrogen in a mixed room when
// hydrogenLPerH is released into airflowM3PerH of fresh air; 1 at most. A release
// below 0 or a flow not above 0 gives NaN.
//
// Error: for the mixed room only; under a ceiling and close to the cells the
// fraction is higher.
// Source: conservation of mass.
func HydrogenFraction(hydrogenLPerH, airflowM3PerH float64) float64 {
	if !(airflowM3PerH > 0) {
		return math.NaN()
	}
	return min(product(hydrogenLPerH/1000, 1/airflowM3PerH), 1)
}

// AirChangesPerH returns the air changes per hour of airflowM3PerH in a room of
// roomM3; a flow below 0 or a room not above 0 gives NaN. Rules of thumb call for 3
// to 10, but ignore the battery: size by [AirflowM3PerH].
func AirChangesPerH(airflowM3PerH, roomM3 float64) float64 {
	if !(roomM3 > 0) {
		return math.NaN()
	}
	return product(airflowM3PerH, 1/roomM3)
}

// product multiplies its factors; a negative or NaN factor gives NaN.
func product(factors ...float64) float64 {
	p := 1.0
	for _, f := range factors {
		if !(f >= 0) {
			return math.NaN()
		}
		p *= f
	}
	return p
}
