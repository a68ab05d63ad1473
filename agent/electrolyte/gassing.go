package electrolyte

import "math"

// Range of cell voltage of the gassing law, V. Below it the cell is being
// discharged hard and hardly gases; no charger of a vented traction pack goes above
// it.
const (
	MinGassingV = 1.8
	MaxGassingV = 2.8
)

// Constants of the gassing law for vented cells with antimony grids: current per
// 100 Ah at 2.23 V and 298 K, and the two slopes.
const (
	gassingAPer100Ah = 0.020
	gassingPerV      = 11.0
	gassingPerK      = 0.06
	gassingRefV      = 2.23
	gassingRefK      = 298.0
)

// GassingCurrentA returns the part of the current of one cell (and so of a series
// string) that splits water, A, for a cell of capacityAh at cellV and electrolyteC:
//
//	I = C/100 Ah * 20 mA * exp(11/V*(U - 2.23 V) + 0.06/K*(T - 298 K))
//
// Range: cellV is clamped to [MinGassingV, MaxGassingV], electrolyteC to
// [MinModelC, MaxModelC]; [InGassingRange] reports whether they were clamped. A
// negative or NaN capacity, or any NaN, gives NaN.
//
// Error: a fit to many vented batteries. One battery may gas at half or twice the
// rate, and an old one with antimony on its negative plates at five times (our
// estimate, no source). The law ignores the charge current: see [BoundGassingA].
//
// Source: Schiffer, Sauer, Bindner, Cronin, Lundsager and Kaiser, J. Power
// Sources 168 (2007) 66, section 3.2 (equation and constants as confirmed in two
// open implementations that cite it).
func GassingCurrentA(capacityAh, cellV, electrolyteC float64) float64 {
	if !(capacityAh >= 0) {
		return math.NaN()
	}
	dV := clamp(cellV, MinGassingV, MaxGassingV) - gassingRefV
	dK := clamp(electrolyteC, MinModelC, MaxModelC) + ZeroCelsiusK - gassingRefK
	return capacityAh / 100 * gassingAPer100Ah * math.Exp(gassingPerV*dV+gassingPerK*dK)
}

// InGassingRange reports whether [GassingCurrentA] uses cellV and electrolyteC as
// given, without clamping. NaN is out of range.
func InGassingRange(cellV, electrolyteC float64) bool {
	return cellV >= MinGassingV && cellV <= MaxGassingV && InTemperatureRange(electrolyteC)
}

// BoundGassingA bounds the law by a measured charge current, A. Once the cell is
// full, all of the measured current splits water, whatever the law gives. Before
// that, gassing cannot exceed the charge current. With no charge current (chargeA
// of 0 or less) the law applies unchanged, because a resting cell gases a little
// too. NaN in either current gives NaN where that current is used.
//
// Error: on a full cell below 2 %, plus that of the meter: all of the current
// gasses except what makes up for self-discharge and corrodes the positive grid.
//
// Source: charge balance; "the most a cell can make" in UFC 3-520-01 (2002)
// 14-1.3.2.2 is this full-cell case.
func BoundGassingA(lawA, chargeA float64, full bool) float64 {
	switch {
	case chargeA <= 0:
		return lawA
	case full:
		return chargeA
	}
	return min(lawA, chargeA)
}

// Onset of gassing and compensation of a cyclic charge voltage, per cell.
const (
	// GassingOnset25V is the gassing point of a motive-power cell at 25 °C, V (TM
	// 10-6140-200-14, 2-9b). A table whose source was not found gives 2.39; the
	// lower value is used because it acts earlier.
	GassingOnset25V = 2.37
	// GassingOnsetVPerC is its slope, V per °C: the mean of that table from 20 to
	// 40 °C is -4.25 mV (from memory), rounded towards zero.
	GassingOnsetVPerC = -0.004
	// CompensationVPerC is the change of a cyclic charge-voltage limit, V per °C
	// and cell (from memory: Linden, Handbook of Batteries; textbooks range from
	// -3 to -6 mV).
	CompensationVPerC = -0.005
)

// GassingOnsetV returns the cell voltage at which gassing sets in at atC, V:
// 2.37 V at 25 °C, -4 mV per °C. Range: atC is clamped to [MinModelC, MaxModelC].
//
// Error: 0.03 V from 20 to 50 °C and 0.08 V down to 0 °C against the table quoted
// at [GassingOnset25V], always early. Below freezing that table rises faster, by
// 0.42 V at -20 °C, so there the onset is far too early.
//
// Source: TM 10-6140-200-14, 2-9b(2), for 25 °C; slope from memory.
func GassingOnsetV(atC float64) float64 {
	return GassingOnset25V + GassingOnsetVPerC*(clamp(atC, MinModelC, MaxModelC)-ReferenceC)
}

// Compensate refers a charge voltage per cell, taken at electrolyte temperature
// atC, to 25 °C: V. A cell held at 2.525 V at 10 °C and one at 2.375 V at 40 °C are
// charged alike, as at 2.45 V and 25 °C. Range: atC is clamped to [MinModelC,
// MaxModelC]; any cellV.
//
// Error: textbooks range from -3 to -6 mV per °C, so up to 2 mV per °C away from
// 25. Source: see [CompensationVPerC].
func Compensate(cellV, atC float64) float64 {
	return cellV - CompensationVPerC*(clamp(atC, MinModelC, MaxModelC)-ReferenceC)
}

// ChargeLimitAt converts a charge-voltage limit stated for 25 °C (V per cell) to
// atC; the inverse of [Compensate], with the same range, error and source.
func ChargeLimitAt(cellV25, atC float64) float64 {
	return cellV25 + CompensationVPerC*(clamp(atC, MinModelC, MaxModelC)-ReferenceC)
}
