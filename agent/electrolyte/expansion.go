package electrolyte

import "math"

// ExpansionPerC is the volume expansion of charged electrolyte (gravity 1.28 at
// 25 °C), per °C. From the density polynomial; 5.63e-4 to 5.69e-4 over the whole range
// from 1.20 to 1.30. Where the gravity is known, use [Expansion].
const ExpansionPerC = 5.66e-4

// Range of gravity at 25 °C for expansion and level.
const (
	MinExpansionGravity = 1.07
	MaxExpansionGravity = 1.40
)

// Expansion returns the relative growth of the volume of electrolyte per °C, at
// temperature c, for gravity sg25. Range: sg25 is clamped to
// [MinExpansionGravity, MaxExpansionGravity], c to [MinDensityC, MaxDensityC].
//
// Error: 3 % against handbook densities (from memory) from 10 to 50 °C; 11 %
// against the model of Laliberté (2009) for gravities from 1.20, 17 % at 1.14. The
// formula follows the handbook.
//
// Source: slope of the density polynomial, see [DensityGPerML].
func Expansion(sg25, c float64) float64 {
	w := gravityFraction(sg25)
	c = clamp(c, MinDensityC, MaxDensityC)
	const h = 0.5
	return (density(w, c-h) - density(w, c+h)) / (2 * h * density(w, c))
}

// LevelRiseMM returns how far the level in one cell rises, mm, when electrolyteML
// (volume at fromC) with a free surface of surfaceCM2 goes from fromC to toC;
// negative when it cools. It leaves out gas held between the plates.
//
// Range: sg25 and both temperatures are clamped as in [Expansion]; a volume below
// 0 or a surface not above 0 gives NaN.
//
// Error: as [Expansion], plus that of the given volume and surface. The growth of
// the jar itself, a tenth of this or less, is left out.
//
// Source: conservation of mass with [DensityGPerML].
func LevelRiseMM(electrolyteML, surfaceCM2, fromC, toC, sg25 float64) float64 {
	if !(electrolyteML >= 0) || !(surfaceCM2 > 0) {
		return math.NaN()
	}
	w := gravityFraction(sg25)
	from := density(w, clamp(fromC, MinDensityC, MaxDensityC))
	to := density(w, clamp(toC, MinDensityC, MaxDensityC))
	const mmPerCM = 10
	return electrolyteML * (from/to - 1) / surfaceCM2 * mmPerCM
}

// gravityFraction converts a gravity at 25 °C, clamped, to a mass fraction; NaN
// stays NaN.
func gravityFraction(sg25 float64) float64 {
	if math.IsNaN(sg25) {
		return sg25
	}
	return massFraction(clamp(sg25, MinExpansionGravity, MaxExpansionGravity), ReferenceC)
}
