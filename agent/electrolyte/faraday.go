package electrolyte

// Constants of nature and figures derived from them.
const (
	// FaradayCPerMol is the charge of a mole of electrons, C/mol; exact since the
	// SI of 2019 (CODATA 2018). The 2014 value, 96485.33289, differs in the 9th figure.
	FaradayCPerMol = 96485.33212
	// GasConstantJPerMolK is the molar gas constant, J/(mol K); exact (CODATA 2018).
	GasConstantJPerMolK = 8.314462618
	// MolarMassWaterGPerMol is that of H2O, g/mol (IUPAC standard atomic weights).
	MolarMassWaterGPerMol = 18.01528
	// MolarMassAcidGPerMol is that of H2SO4, g/mol (IUPAC standard atomic weights).
	MolarMassAcidGPerMol = 98.078
	// StandardPressurePa is one standard atmosphere, Pa.
	StandardPressurePa = 101325.0
	// ZeroCelsiusK is 0 °C in kelvin.
	ZeroCelsiusK = 273.15
	// WaterDensity25GPerML is the density of water at 25 °C, g/mL (0.99705 in
	// handbooks; 0.9970449 by the water model of Laliberté 2009).
	WaterDensity25GPerML = 0.99705

	// GasMolPerAh is the hydrogen freed, and equally the water used, by one
	// ampere-hour in one cell, mol: 3600 C / F, two electrons each.
	GasMolPerAh = 3600 / FaradayCPerMol / 2
	// WaterGPerAh is the water used by one ampere-hour of gassing in one cell, g:
	// 0.336087.
	WaterGPerAh = GasMolPerAh * MolarMassWaterGPerMol
)

// WaterML returns the water that gassingAh takes from one cell, in mL of water at
// 25 °C (density 0.997 g/mL): 0.33708 mL per ampere-hour. Linear, any amount.
//
// Error: none in the law; the uncertainty is in how much of the charge was gassing. The
// vapour that the gas carries off is left out: at 40 °C at most 12 % more by Dalton's
// law, of which much drips back from the vent plug; what a cell really uses is learned
// from its level.
// Water is between 0.992 and 1.000 g/mL from 0 to 40 °C, so a jug filled at another
// temperature is within 0.5 %. US handbooks print 0.336 mL, which takes the density
// as 1 (DOE-HDBK-1084-95, p. 33).
//
// Source: Faraday's law, 2 H2O = 2 H2 + O2 for four electrons.
func WaterML(gassingAh float64) float64 {
	return gassingAh * WaterGPerAh / WaterDensity25GPerML
}

// HydrogenL returns the dry hydrogen that gassingAh frees in one cell, L at atC
// and 101.325 kPa. Linear in charge; atC is clamped to [MinModelC, MaxModelC].
//
// Error: below 0.1 % for the dry gas (ideal-gas law). Gas that leaves a cell is
// wet: 3 % more volume at 25 °C, 8 % at 40 °C at most.
//
// Source: Faraday's law and the ideal-gas law; 0.41815 L/Ah at 0 °C (EN 62485
// prints 0.42), 0.45642 L/Ah at 25 °C (ZVEI leaflet 14e, 2017, prints 0.45).
func HydrogenL(gassingAh, atC float64) float64 {
	kelvin := clamp(atC, MinModelC, MaxModelC) + ZeroCelsiusK
	return gassingAh * GasMolPerAh * GasConstantJPerMolK * kelvin / StandardPressurePa * 1000
}

// OxygenL returns the dry oxygen that gassingAh frees in one cell, L at atC and
// 101.325 kPa: half the hydrogen. Range, error and source as [HydrogenL].
func OxygenL(gassingAh, atC float64) float64 { return HydrogenL(gassingAh, atC) / 2 }
