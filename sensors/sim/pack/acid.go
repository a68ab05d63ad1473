package pack

import "math"

// acidTable is the mass fraction of acid by specific gravity 25/25 °C, from the
// density correlation of Laliberté (2009).
var acidTable = [...]struct{ gravity, fraction float64 }{
	{1.0682, 0.100}, {1.0967, 0.140}, {1.1261, 0.180}, {1.1563, 0.220}, {1.1875, 0.260},
	{1.2195, 0.300}, {1.2526, 0.340}, {1.2868, 0.380}, {1.2999, 0.395},
}

// gravitySpan is how much the specific gravity falls from full to flat: 1.280 to
// 1.140 (TM 5-1185 and traction practice), linear in ampere-hours
// (DOE-HDBK-1084-95).
const gravitySpan = 0.140

// acidFraction returns the mass fraction of acid at a specific gravity at 25 °C.
func acidFraction(gravity float64) float64 {
	i := 1
	for i < len(acidTable)-1 && acidTable[i].gravity < gravity {
		i++
	}
	a, b := acidTable[i-1], acidTable[i]
	return a.fraction + (b.fraction-a.fraction)*(gravity-a.gravity)/(b.gravity-a.gravity)
}

// RestV returns the voltage of a rested cell at 25 °C from the electrode potentials
// of Bode (1977), for a specific gravity of 1.07 to 1.30.
func RestV(gravity float64) float64 {
	const acidKgPerMol = 0.098078
	w := acidFraction(gravity)
	l := math.Log10(w / (1 - w) / acidKgPerMol)
	positive := 1.628 + l*(0.074+l*(0.033+l*(0.043+l*0.022)))
	negative := -0.294 - l*(0.074+l*(0.030+l*(0.031+l*0.012)))
	return positive - negative
}

// restVPerK is the temperature coefficient of the rest voltage near 1.28
// specific gravity (from memory of Vinal, "Storage Batteries").
const restVPerK = 0.0002
