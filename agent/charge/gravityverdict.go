package charge

import (
	"fmt"
	"slices"
	"time"

	"bayward/agent/electrolyte"
	"bayward/agent/reading"
)

// The published spreads between the cells of a pack.
const (
	// spreadDue "may mean a dead cell": TM 55-2210-224-12. It calls for an equalize
	// charge.
	spreadDue  = 0.020
	spreadWeak = 0.025 // TM 9-6140-200-14 rejects the battery
	spreadFail = 0.050 // TM 5-3895-349-14&P: replace
	// fitsK is how far the electrolyte's temperature may be from the pack's probe. A
	// larger difference is worth 0.007 and more, above the tolerance of full, so one
	// of the two is wrong (common practice, no source).
	fitsK = 10.0
	// highOthers is how many other cells it takes to call one high: of two or three
	// the others may be the low ones.
	highOthers = 3
	equalSG    = 1e-9 // rounding of a difference at a limit
)

// Hydrometer is one hydrometer reading, with what decides whether it means
// anything.
type Hydrometer struct {
	Cell      int             // 1 is the positive end
	SG        float64         // as read
	AtC       float64         // electrolyte, °C, as read beside it
	PackC     reading.Reading // the pack's own probe, °C
	Level     CellLevel       // of this cell
	MissingML float64         // water that the cell needs to its fill mark; 0 when it needs none
}

// CellLevel is what is known of a cell's level when its gravity is read. Zero means
// nothing.
type CellLevel uint8

// The levels.
const (
	LevelUnknown CellLevel = iota
	LevelBare              // at or below the plate tops
	LevelLow               // below the lowest level for charging
	LevelGood
)

// GravityVerdict is what a hydrometer reading means.
type GravityVerdict uint8

// The verdicts. Those up to GravityTemperature mean that the reading proves nothing.
const (
	NotRead            GravityVerdict = iota
	GravityBare                       // plates bare: too little water for its acid, so it reads high
	GravityLevelLow                   // the same, with the level below the lowest for charging
	GravityLevelAway                  // level of the cell unknown
	GravityUnmixed                    // water was poured, and no hour of gassing charge since
	GravityTemperature                // the temperature given does not fit the pack's
	GravityFull                       // within 0.015 of full
	GravityBelow                      // more than that below full, like the other cells
	GravityAbove                      // more than that above full
	GravityCellHigh                   // 0.020 or more above the middle of the other cells
	GravityCellLow                    // 0.020 or more below it
	GravityCellWeak                   // 0.025 or more
	GravityCellFailed                 // 0.050 or more
	NumGravityVerdicts
)

var verdictNames = [NumGravityVerdicts]string{
	"not-read", "plates-bare", "level-low", "level-unknown", "not-mixed", "temperature",
	"as-full", "below-full", "above-full", "cell-high", "cell-low", "cell-weak", "cell-failed",
}

// String returns the verdict's name in messages, such as "not-mixed".
func (v GravityVerdict) String() string {
	if v >= NumGravityVerdicts {
		return fmt.Sprintf("gravity-%d", uint8(v))
	}
	return verdictNames[v]
}

// Sound reports whether the reading means something.
func (v GravityVerdict) Sound() bool { return v >= GravityFull && v < NumGravityVerdicts }

// CellGravity is one cell's reading as judged.
type CellGravity struct {
	Verdict GravityVerdict
	SG25    float64 // at 25 °C
	AtMark  float64 // the same with the water to the fill mark mixed in
	AtC     float64 // electrolyte, °C, as given
	PackC   float64 // the pack's probe then, °C; valid with GravityTemperature
	// OverFull is AtMark less the gravity of the full pack. OverOthers is SG25 less the middle
	// of the pack's other sound cells; valid if Others, their number, is not 0. Both
	// are 0 for a reading that is not sound.
	OverFull, OverOthers float64
	Others               int
}

// GravityRound is the hydrometer readings of the last four hours in one state of
// charge. One that a Status has is never changed.
type GravityRound struct {
	Began     time.Duration
	Cells     [MaxCells]CellGravity // the first Of
	Of        int                   // cells of the pack
	Sound     int                   // cells with a reading that means something
	Low, High float64               // of those, at 25 °C; valid with Sound
	Full      bool                  // the pack was proven full when the last one was read
}

// flaw returns why a reading means nothing, GravityFull when nothing is wrong with
// it.
func (h *Hydrometer) flaw(unmixed bool) GravityVerdict {
	switch {
	case h.Level == LevelBare:
		return GravityBare
	case unmixed:
		return GravityUnmixed
	case h.PackC.OK() && !(h.AtC-h.PackC.Value <= fitsK && h.PackC.Value-h.AtC <= fitsK):
		return GravityTemperature
	case h.Level == LevelLow:
		return GravityLevelLow
	case h.Level == LevelUnknown:
		return GravityLevelAway
	}
	return GravityFull
}

// atMark returns the gravity after mixing in the water that the cell needs: at a
// low level the same acid is in less water and reads high (DOE-HDBK-1084-95).
func (h *Hydrometer) atMark(sg25, electrolyteML float64) float64 {
	if h.MissingML == 0 {
		return sg25
	}
	litres := (electrolyteML - h.MissingML) / 1000
	after, _, err := electrolyte.GravityAfterWater(sg25, litres, h.MissingML)
	if err != nil { // beyond the density model: proves nothing
		return min(sg25, 1)
	}
	return after
}

// judge judges the sound cells against full and against each other.
func (r *GravityRound) judge(full float64) {
	r.Sound, r.Low, r.High = 0, 0, 0
	for i := range r.Cells {
		c := &r.Cells[i]
		if !c.Verdict.Sound() {
			continue
		}
		if r.Sound == 0 {
			r.Low, r.High = c.SG25, c.SG25
		}
		r.Sound++
		r.Low, r.High = min(r.Low, c.SG25), max(r.High, c.SG25)
	}
	for i := range r.Cells {
		if c := &r.Cells[i]; c.Verdict.Sound() {
			c.OverFull = c.AtMark - full
			c.OverOthers, c.Others = r.others(i)
			c.Verdict = c.verdict()
		}
	}
}

// others compares a cell with the middle of the other sound ones.
func (r *GravityRound) others(i int) (over float64, n int) {
	rest := make([]float64, 0, MaxCells)
	for j := range r.Cells {
		if j != i && r.Cells[j].Verdict.Sound() {
			rest = append(rest, r.Cells[j].SG25)
		}
	}
	if len(rest) == 0 {
		return 0, 0
	}
	return r.Cells[i].SG25 - medianOf(rest), len(rest)
}

func (c *CellGravity) verdict() GravityVerdict {
	below := -c.OverOthers + equalSG // 0 without others
	switch {
	case below >= spreadFail:
		return GravityCellFailed
	case below >= spreadWeak:
		return GravityCellWeak
	case below >= spreadDue:
		return GravityCellLow
	case c.OverOthers >= spreadDue-equalSG && c.Others >= highOthers:
		return GravityCellHigh
	case c.OverFull < -gravityLow-equalSG:
		return GravityBelow
	case c.OverFull > gravityLow+equalSG:
		return GravityAbove
	}
	return GravityFull
}

// SpreadNeeds returns how many sound cells it takes to call for an equalize charge.
func (r *GravityRound) SpreadNeeds() int { return (r.Of + 1) / 2 }

// ParseGravityVerdict finds a verdict by its name; an unknown name is NotRead.
func ParseGravityVerdict(name string) GravityVerdict {
	return GravityVerdict(max(slices.Index(verdictNames[:], name), 0))
}
