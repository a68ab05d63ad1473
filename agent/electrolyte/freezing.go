package electrolyte

// FreezingMarginC is the margin that a rule should keep above [FreezingC], °C. It
// allows for hydrometer and thermometer errors and for a cell in the tray colder
// than the measured one. The project's own choice.
const FreezingMarginC = 5.0

// freezingPoint is one row of the freezing curve.
type freezingPoint struct{ sg25, c float64 }

// freezingCurve runs through published rows, the warmer one where sources differ.
// Read-only. Acid of 1.300 is close to the eutectic: above it the freezing point
// rises again.
var freezingCurve = [...]freezingPoint{
	{1.000, 0},
	{1.050, -3.27},  // Vinal, Storage Batteries, 4th ed. (from memory)
	{1.100, -7.22},  // TM 5-1185 table III, 19 °F
	{1.120, -9.44},  // TM 5-4210-230-14&P-1 table 2, 15 °F
	{1.150, -15.00}, // TM 5-1185, 5 °F
	{1.155, -15.00}, // TM 5-4210, 5 °F
	{1.160, -17.22}, // TM 10-6140-200-14 table 1-1, 1 °F
	{1.190, -26.11}, // TM 5-4210, -15 °F
	{1.200, -26.66}, // TM 5-1185, -16 °F
	{1.220, -35.00}, // TM 10-6140, -31 °F
	{1.225, -37.22}, // TM 5-4210, -35 °F
	{1.250, -52.00}, // Vinal (from memory), -61.6 °F; both Army tables -62 °F
	{1.265, -59.44}, // TM 5-4210, -75 °F
	{1.280, -67.77}, // TM 5-1185, -90 °F; TM 10-6140 has -95 °F
	{1.300, -71.00}, // Vinal (from memory), -95.8 °F
	{1.350, -49.00}, // Vinal (from memory)
}

// FreezingC returns the temperature at which ice begins to form in electrolyte of
// gravity sg25, °C, without any margin (see [FreezingMarginC]). Linear between
// published rows; where sources differ, the warmer one. Slush begins here; a jar
// splits at a somewhat lower temperature.
//
// Range: 1.000 to 1.350. Outside it, and for NaN, the answer is 0 °C, as for water.
// That is the safe answer: an unknown gravity counts as flat.
//
// Error: some sources give up to 3 °C colder, none warmer; interpolation below
// 1 °C. Sources refer gravity to 60 to 80 °F; taking it as 25 °C errs to the warm
// side by up to 2 °C.
//
// Source: TM 5-4210-230-14&P-1 table 2, TM 5-1185 table III, TM 10-6140-200-14
// table 1-1; Vinal, Storage Batteries (from memory).
func FreezingC(sg25 float64) float64 {
	if !(sg25 >= freezingCurve[0].sg25) {
		return 0
	}
	for i := 1; i < len(freezingCurve); i++ {
		if b := &freezingCurve[i]; sg25 <= b.sg25 {
			a := &freezingCurve[i-1]
			return a.c + (sg25-a.sg25)/(b.sg25-a.sg25)*(b.c-a.c)
		}
	}
	return 0
}
