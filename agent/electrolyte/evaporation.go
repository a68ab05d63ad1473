package electrolyte

import "math"

// QuietEvaporationMLPerDay bounds the water, mL per day and cell, that diffuses
// through a vent hole 3 mm wide and 10 mm long from electrolyte of up to 40 °C into
// dry air (Fick's law). No balance includes this term: it is a fortieth of the 4 mL
// per day that gassing may take (30 mL per week, TM 5-3895-349-14&P). A missing cap
// is a different matter; predicted and measured level then drift apart.
const QuietEvaporationMLPerDay = 0.1

// VapourCarriedML returns the most water, mL, that leaves one cell as vapour in the
// gas which gassingAh produces at electrolyte temperature atC; the gas is taken as
// saturated over pure water. It adds to [WaterML]: 5 % of it at 25 °C, 12 % at
// 40 °C, 21 % at 50 °C. Range: atC is clamped to 0 to 60 °C.
//
// Error: an upper bound. Acid of gravity 1.28 lowers the vapour pressure by about a
// third, and much of the vapour drips back from the vent plug.
//
// Quiet evaporation through the vents of a resting cell is left out on purpose, see
// [QuietEvaporationMLPerDay].
//
// Source: Faraday's and Dalton's laws; see [WaterVapourKPa].
func VapourCarriedML(gassingAh, atC float64) float64 {
	const gasPerHydrogen = 1.5 // H2 and half an O2
	vapour := WaterVapourKPa(atC)
	gasMol := gassingAh * GasMolPerAh * gasPerHydrogen
	vapourMol := gasMol * vapour / (StandardPressurePa/1000 - vapour)
	return vapourMol * MolarMassWaterGPerMol / WaterDensity25GPerML
}

// WaterVapourKPa returns the saturation pressure of water vapour over pure water,
// kPa. Range: atC is clamped to 0 to 60 °C. Error: 0.6 %.
//
// Source: Alduchov and Eskridge, J. Appl. Meteorol. 35 (1996) 601, eq. 21 (from
// memory).
func WaterVapourKPa(atC float64) float64 {
	c := clamp(atC, 0, MaxModelC)
	return 0.61094 * math.Exp(17.625*c/(c+243.04))
}
