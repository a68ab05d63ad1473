package electrolyte

import (
	"fmt"
	"strings"
)

// ChargerCurve is a charger's characteristic. It decides the gas current that
// ventilation is sized for.
type ChargerCurve uint8

// The characteristics. The zero value is unknown and counts as the worst.
const (
	// CurveUnknown: characteristic unknown; the larger of the taper figure and 40 %
	// of the charger's rated current.
	CurveUnknown ChargerCurve = iota
	// CurveIU: constant current, then constant voltage of at most 2.4 V per cell.
	CurveIU
	// CurveIUI: as IU, then a constant finish current without a voltage limit. A
	// two-rate charger that ends at its finish rate belongs here too.
	CurveIUI
	// CurveTaper: unregulated (W), current falls as voltage rises; size matched to
	// its battery.
	CurveTaper
	// CurveUnregulated: unregulated charger, not known to match its battery; 40 %
	// of its rated current.
	CurveUnregulated
	curveCount
)

// curveRow holds the figures of one characteristic.
type curveRow struct {
	name      string
	aPer100Ah float64 // gas current per 100 Ah of capacity
	ofRated   float64 // or this part of the charger's rated current
}

// curveTable holds worst-case gas currents for vented cells: IU 2 A, IUI at most
// 6 A, W 5 to 7 A per 100 Ah (EN IEC 62485-3 as quoted publicly). The 40 % is
// inferred from the only published example of an unregulated charger. Read-only.
var curveTable = [curveCount]curveRow{
	CurveUnknown:     {"unknown", 7, 0.40},
	CurveIU:          {"iu", 2, 0},
	CurveIUI:         {"iui", 6, 0},
	CurveTaper:       {"taper", 7, 0},
	CurveUnregulated: {"unregulated", 0, 0.40},
}

// String returns the name that [ParseChargerCurve] accepts.
func (c ChargerCurve) String() string {
	if c >= curveCount {
		return fmt.Sprintf("charger curve %d", uint8(c))
	}
	return curveTable[c].name
}

// ParseChargerCurve returns the characteristic named text: unknown, iu, iui, taper
// or unregulated. For any other text it returns an error that lists the accepted
// names.
func ParseChargerCurve(text string) (ChargerCurve, error) {
	names := make([]string, 0, len(curveTable))
	for i, row := range curveTable {
		if row.name == text {
			return ChargerCurve(i), nil
		}
		names = append(names, row.name)
	}
	return CurveUnknown, fmt.Errorf("charger curve %q, accepted: %s", text, strings.Join(names, ", "))
}

// GasCurrentA returns the gas current of a vented pack of capacityAh on a charger
// of this characteristic, A, for [AirflowM3PerH]. ratedA is the charger's rated
// output current; 0 means unknown, which only CurveUnregulated rejects.
//
// Range: capacityAh above 0, ratedA 0 or more; otherwise an error that wraps
// [ErrRange]. An unlisted curve counts as CurveUnknown.
//
// Error: these are worst-case figures, not what a pack gasses on a given evening.
//
// Source: EN IEC 62485-3 table of gas currents, as quoted publicly; ratedA part
// inferred, see [CurveUnregulated].
func (c ChargerCurve) GasCurrentA(capacityAh, ratedA float64) (float64, error) {
	row := curveTable[CurveUnknown]
	if c < curveCount {
		row = curveTable[c]
	}
	switch {
	case !(capacityAh > 0):
		return 0, fmt.Errorf("gas current: capacity %g Ah, accepted above 0: %w", capacityAh, ErrRange)
	case !(ratedA >= 0):
		return 0, fmt.Errorf("gas current: rated charger current %g A, accepted 0 or more: %w", ratedA, ErrRange)
	case row.aPer100Ah == 0 && ratedA == 0:
		return 0, fmt.Errorf("gas current: curve %v needs the charger's rated current: %w", c, ErrRange)
	}
	return max(row.aPer100Ah*capacityAh/100, row.ofRated*ratedA), nil
}
