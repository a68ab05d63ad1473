package electrolyte

import (
	"fmt"
	"math"
)

// Range of the density polynomial. The paper covers mass fractions 0.1 to 0.9 and
// 0 to 50 °C; from 50 to 60 °C it is extrapolated.
const (
	MinMassFraction = 0.1
	MaxMassFraction = 0.9
	MinDensityC     = 0.0
	MaxDensityC     = 60.0
)

// acidDensity holds the coefficients of density in kg/m3: row i for the power i of
// the mass fraction, column j for the power j of the temperature in °C. Read-only.
//
// The w^2 t^4 term is negative here. Open copies of the table print it with a plus
// sign, but then density would rise from 40 to 50 °C; with the minus sign the table
// agrees with an independent model and with handbook values.
var acidDensity = [11][5]float64{
	{999.8426, 0.03345402, -0.005691304},
	{547.2659, -5.300445, 0.01187671, 0.0005990008},
	{5262.95, 37.20445, 0.1201909, -0.004148594, -1.197973e-05},
	{-62139.58, -287.767, -0.4064638, 0.01119488, 3.607768e-05},
	{409029.3, 1270.854, 0.326971, -0.01377435, -2.633585e-05},
	{-1596989, -3062.836, 0.1366499, 0.006373031},
	{3857411, 4083.714, -0.1927785},
	{-5808064, -2844.401},
	{5301976, 809.1053},
	{-2682616},
	{576428.8},
}

// DensityGPerML returns the density of sulfuric acid, g/mL, at mass fraction
// massFraction (acid over solution, 0.1 to 0.9) and temperature c (0 to 60 °C). Out
// of range it returns an error that wraps [ErrRange].
//
// Error: 0.0026 g/mL up to fraction 0.46 against the independent model of
// Laliberté (J. Chem. Eng. Data 54, 2009, 1725); 0.0005 against handbook values
// from memory.
//
// Source: Myhre, Nielsen and Saastad, J. Chem. Eng. Data 43 (1998) 617.
func DensityGPerML(massFraction, c float64) (float64, error) {
	if err := checkDensityC(c); err != nil {
		return 0, err
	}
	if !(massFraction >= MinMassFraction && massFraction <= MaxMassFraction) {
		return 0, fmt.Errorf("acid mass fraction %g, accepted %g to %g: %w",
			massFraction, MinMassFraction, MaxMassFraction, ErrRange)
	}
	return density(massFraction, c), nil
}

// MassFraction returns the mass fraction (0.1 to 0.9) of acid whose density at c (0
// to 60 °C) is densityGPerML; it inverts [DensityGPerML] to within 1e-9. Out of
// range it returns an error that wraps [ErrRange]. For a gravity sg25 call it with
// c = 25.
//
// Error: 0.0022 in the fraction, from that of the density. Source: as
// [DensityGPerML].
func MassFraction(densityGPerML, c float64) (float64, error) {
	if err := checkDensityC(c); err != nil {
		return 0, err
	}
	low, high := density(MinMassFraction, c), density(MaxMassFraction, c)
	if !(densityGPerML >= low && densityGPerML <= high) {
		return 0, fmt.Errorf("acid density %g g/mL at %g °C, accepted %.4f to %.4f: %w",
			densityGPerML, c, low, high, ErrRange)
	}
	return massFraction(densityGPerML, c), nil
}

// MolarityMolPerL returns the moles of acid per litre at c (0 to 60 °C) for a mass
// fraction of 0.1 to 0.9. Out of range it returns an error that wraps [ErrRange].
//
// Error: 0.25 %, that of the density. Source: as [DensityGPerML], with M = 98.078.
func MolarityMolPerL(massFraction, c float64) (float64, error) {
	rho, err := DensityGPerML(massFraction, c)
	if err != nil {
		return 0, fmt.Errorf("molarity: %w", err)
	}
	return molarity(rho, massFraction), nil
}

// MassFractionFromMolarity returns the mass fraction (0.1 to 0.9) of acid with
// molPerL moles per litre at c (0 to 60 °C); the inverse of [MolarityMolPerL]. Out
// of range it returns an error that wraps [ErrRange].
//
// Error: 0.25 %. Source: as [MolarityMolPerL].
func MassFractionFromMolarity(molPerL, c float64) (float64, error) {
	if err := checkDensityC(c); err != nil {
		return 0, err
	}
	low := molarity(density(MinMassFraction, c), MinMassFraction)
	high := molarity(density(MaxMassFraction, c), MaxMassFraction)
	if !(molPerL >= low && molPerL <= high) {
		return 0, fmt.Errorf("acid molarity %g mol/L at %g °C, accepted %.3f to %.3f: %w",
			molPerL, c, low, high, ErrRange)
	}
	return bisect(molPerL, func(w float64) float64 { return molarity(density(w, c), w) }), nil
}

func molarity(rho, w float64) float64 { return 1000 * rho * w / MolarMassAcidGPerMol }

func checkDensityC(c float64) error {
	if c >= MinDensityC && c <= MaxDensityC {
		return nil
	}
	return fmt.Errorf("acid temperature %g °C, accepted %g to %g: %w", c, MinDensityC, MaxDensityC, ErrRange)
}

// density evaluates the polynomial, g/mL, without checking the range.
func density(w, c float64) float64 {
	rho := 0.0
	for i := len(acidDensity) - 1; i >= 0; i-- {
		a := &acidDensity[i]
		rho = rho*w + a[0] + c*(a[1]+c*(a[2]+c*(a[3]+c*a[4])))
	}
	return rho / 1000
}

// massFraction inverts density inside its range, by a bracketed secant: density
// rises with the fraction all the way from 0.1 to 0.9.
func massFraction(rho, c float64) float64 {
	low, high := MinMassFraction, MaxMassFraction
	w := clamp((rho-1)/0.75, low, high) // chord of the battery range, a good start
	for range 60 {
		miss := density(w, c) - rho
		if math.Abs(miss) < 1e-12 {
			break
		}
		if miss > 0 {
			high = w
		} else {
			low = w
		}
		slope := (density(w+1e-6, c) - density(w-1e-6, c)) / 2e-6
		if w -= miss / slope; !(w > low && w < high) {
			w = (low + high) / 2
		}
	}
	return w
}

// bisect returns the mass fraction at which the rising function f equals want.
func bisect(want float64, f func(w float64) float64) float64 {
	low, high := MinMassFraction, MaxMassFraction
	for range 60 {
		if w := (low + high) / 2; f(w) > want {
			high = w
		} else {
			low = w
		}
	}
	return (low + high) / 2
}
