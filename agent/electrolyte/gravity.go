package electrolyte

import "fmt"

// Correction of a hydrometer reading for the temperature of the electrolyte.
const (
	// GravityPerC is the fall of specific gravity per °C: 0.004 per 10 °F
	// (TM 5-3895-349-14&P, TM 5-4210-230-14&P-1, TM 5-3820-256-24-4). Navy books
	// print 0.001 per 3 °F, which is 17 % short for charged acid.
	GravityPerC = 0.00072
	// GravityPerF is the same rule per °F.
	GravityPerF = 0.0004
	// ReferenceF is the reference of US gravity tables, °F.
	ReferenceF = 80.0
)

// Range of the temperature correction, from the ends of the US Army table.
const (
	MinCorrectionC = -54.0
	MaxCorrectionC = 50.0
)

// GravityAt25 refers a gravity reading sg, taken at atC, to 25 °C: add when hot,
// subtract when cold. Range: atC is clamped to [MinCorrectionC, MaxCorrectionC].
//
// Error: 0.0013 from 10 to 50 °C for charged acid (1.25 to 1.29), 0.002 at 1.20,
// 0.004 at 1.14, where the fixed rule over-corrects; below freezing 0.001 from the
// printed table. For a better value, use [MassFraction] at atC and [DensityGPerML]
// at 25.
//
// Source: the 0.004 per 10 °F rule, see [GravityPerC].
func GravityAt25(sg, atC float64) float64 {
	return sg + GravityPerC*(clamp(atC, MinCorrectionC, MaxCorrectionC)-ReferenceC)
}

// GravityAt80F refers a gravity reading sg, taken at atF (°F), to 80 °F, as US
// tables do. Range: atF is clamped to -65 to 122 °F. Error and source as
// [GravityAt25]. The same acid reads 0.0012 lower at 80 °F than at 25 °C.
func GravityAt80F(sg, atF float64) float64 {
	return sg + GravityPerF*(clamp(atF, -65, 122)-ReferenceF)
}

// GravityAfterWater returns gravity and volume (litres, at 25 °C) of the
// electrolyte of one cell after waterML of water (25 °C) was added, or lost if it
// is negative. sg25 and litres are the values before. The acid stays, so its mass
// fraction goes as 1/mass; densities do the rest. The result is for mixed
// electrolyte only: after an hour of gassing charge following the fill (NAVEDTRA
// 14113).
//
// Range: litres above 0; acid from mass fraction 0.1 to 0.9 before and after;
// otherwise an error that wraps [ErrRange].
//
// Error: 0.001 in gravity (differences of one density model).
//
// Source: conservation of mass, with [DensityGPerML].
func GravityAfterWater(sg25, litres, waterML float64) (sgAfter, litresAfter float64, err error) {
	if !(litres > 0) {
		return 0, 0, fmt.Errorf("electrolyte volume %g L, accepted above 0: %w", litres, ErrRange)
	}
	before, err := MassFraction(sg25, ReferenceC)
	if err != nil {
		return 0, 0, fmt.Errorf("gravity before water: %w", err)
	}
	massG := sg25 * 1000 * litres
	massAfterG := massG + waterML*WaterDensity25GPerML
	sgAfter, err = DensityGPerML(before*massG/massAfterG, ReferenceC)
	if err != nil {
		return 0, 0, fmt.Errorf("gravity after %g mL of water in %g L: %w", waterML, litres, err)
	}
	return sgAfter, massAfterG / (1000 * sgAfter), nil
}
