package water

import (
	"math"
	"slices"

	"bayward/agent/electrolyte"
)

const (
	// agreeMM is how far apart two readings of the same level may be: a level rod
	// in a vent is read to 1 or 2 mm (common practice, no source).
	agreeMM = 3.0
	rodMM   = 1.5 // standard error of one level reading
	// usualMore is how much more than the pilot a cell may use that was never
	// measured: cells of a sound pack differ by about a tenth (common practice, no
	// source).
	usualMore = 1.15
	// Bounds of a cell's own use over that of the pilot. Beyond them it leaks or
	// takes no charge, and only level readings can follow it.
	leastUse, mostUse = 0.5, 2.5
	useSpread         = 0.3 // of that ratio before anything is measured: sound cells and odd ones
	learnMM           = 4.0 // two readings teach no use below this loss
	// OverWellMM is how far above the bottom of the vent well, in the tube of the
	// vent, a level can be read at all.
	OverWellMM = 30.0
	// useVisits is how many visits make a cell's share of the water its own use.
	useVisits = 3
)

// Cell is one cell's estimate relative to the pilot's settled level, as it is
// also stored.
type Cell struct {
	OffsetMM float64 `json:"-"`                   // likely; Memory has it in a list of its own
	LowMM    float64 `json:"low_mm,omitempty"`    // lowest estimate less the likely one; 0 or less
	HighMM   float64 `json:"high_mm,omitempty"`   // highest estimate less the likely one; 0 or more
	Use      float64 `json:"use"`                 // own water use over that of the pilot
	ReadAh   float64 `json:"read_ah,omitempty"`   // gassing total at the last level reading
	Measured bool    `json:"measured,omitempty"`  // there was one
	Fresh    bool    `json:"fresh,omitempty"`     // and no water was poured since
	PouredML float64 `json:"poured_ml,omitempty"` // in the open visit when it was read
	FilledML float64 `json:"filled_ml,omitempty"` // recorded since the memory began
	Dry      bool    `json:"dry,omitempty"`       // the rod showed the plates, and no level since
	WasDry   bool    `json:"was_dry,omitempty"`   // until the last level reading
	Over     bool    `json:"over,omitempty"`      // filled over the ceiling, see Balance.Overfill
	Drawn    bool    `json:"drawn,omitempty"`     // and electrolyte was drawn off since
}

// driftMM returns how far the cell has sunk relative to the pilot since its last
// level reading, by its own use.
func (b *Balance) driftMM(c *Cell) float64 {
	if !c.Measured {
		return 0
	}
	return (c.Use - 1) * b.mm(electrolyte.WaterML(b.gassingAh-c.ReadAh))
}

// difference is where a cell is relative to the pilot, mm.
type difference struct {
	likelyMM, lowMM, highMM float64
	use                     float64 // rate at which lowMM falls with the pilot's loss
	// fixed means that a rod has read the cell: the three are settled levels, which do
	// not follow the probe of another cell.
	fixed bool
}

// differences are those of all cells.
type differences struct {
	cells    [MaxCells]difference
	lowestMM float64 // the least lowMM of those that follow the pilot, 0 or less
	fixedMM  float64 // and of the others
	atAh     float64 // gassing total for which they were calculated
	outdated bool    // cells were changed by hand since
}

// compareCells calculates where the cells are; between gassing and orders they do not
// move.
func (b *Balance) compareCells() {
	const stepAh = 0.01
	d := &b.diffs
	if moved := b.gassingAh - d.atAh; !d.outdated && moved < stepAh && moved > -stepAh {
		return
	}
	d.lowestMM, d.fixedMM = 0, b.pilotRodMM()
	for i := range b.cfg.Cells {
		c := &d.cells[i]
		if *c = b.differenceOf(i); c.fixed {
			d.fixedMM = min(d.fixedMM, c.lowMM)
		} else {
			d.lowestMM = min(d.lowestMM, c.lowMM)
		}
	}
	d.atAh, d.outdated = b.gassingAh, false
}

// differenceOf returns that of one cell. The pilot is where its probe shows it; for a
// level rod that has said otherwise see pilotRodMM.
func (b *Balance) differenceOf(i int) difference {
	if i+1 == b.cfg.Pilot && !b.cells[i].Dry && (!b.cells[i].Measured || b.know.cells[i].Set && !b.know.cells[i].Lost) {
		return difference{use: 1}
	}
	if c := &b.know.cells[i]; b.fixed(i) {
		mm := b.likelyAfter(c)
		return difference{mm, mm + c.LowMM, mm + c.HighMM, c.Rate / max(b.use.scale, leastRate), true}
	}
	return difference{b.likelyMM(i), b.lowestMM(i), b.highestMM(i), b.lowestUse(i), false}
}

// fixed reports whether a cell is where a level rod has read it, by its own loss and
// water since.
func (b *Balance) fixed(i int) bool {
	c := &b.know.cells[i]
	return c.Rod && !c.Lost && i+1 != b.cfg.Pilot && !b.cells[i].Dry
}

// pilotRodMM returns how low the pilot cell is by a level rod and what was recorded
// since, whatever its probe shows; infinite when no rod has read it.
func (b *Balance) pilotRodMM() float64 {
	if b.cfg.Pilot == 0 {
		return math.Inf(1)
	}
	c := &b.know.cells[b.cfg.Pilot-1]
	if !c.Rod || c.Lost || b.cells[b.cfg.Pilot-1].Dry {
		return math.Inf(1)
	}
	mm, _ := c.after(b.lostSince(c))
	return mm + c.LowMM
}

// likelyNow returns the likely settled level of a cell, wherever it is counted from.
func (b *Balance) likelyNow(i int) float64 {
	if c := &b.know.cells[i]; b.fixed(i) {
		return b.likelyAfter(c)
	}
	return b.pilotFor(i) + b.likelyMM(i)
}

// likelyAfter returns the likely level of a cell that a rod has read. Until its own rate
// of loss is learned, it is likely to lose what the probe has shown of the pack.
func (b *Balance) likelyAfter(c *KnownCell) float64 {
	pack := square(useSpread) + square(b.use.scaleSE)
	rate := c.Rate + (b.use.scale-c.Rate)*c.RateVar/(c.RateVar+pack)
	return c.LevelMM - rate*b.lostSince(c)
}

// likelyMM, lowestMM and highestMM return a cell's settled level less the pilot's.
func (b *Balance) likelyMM(i int) float64 {
	c := &b.cells[i]
	return c.OffsetMM - b.driftMM(c)
}

func (b *Balance) highestMM(i int) float64 { return b.likelyMM(i) + b.cells[i].HighMM }

// lowestUse returns the highest use that a cell may have relative to the pilot.
func (b *Balance) lowestUse(i int) float64 {
	if c := &b.cells[i]; c.Measured {
		return max(b.fillUse[i], c.Use)
	}
	return max(b.fillUse[i], usualMore)
}

func (b *Balance) lowestMM(i int) float64 {
	c := &b.cells[i]
	likely := b.likelyMM(i)
	if !c.Fresh {
		likely = min(likely, 0) // poured water proves no level
	}
	more := b.lowestUse(i) - 1
	if c.Measured {
		more = b.lowestUse(i) - c.Use // the drift already includes the rest
	}
	return likely + c.LowMM - more*b.mm(b.s.LostML)
}

// LowestMM returns how far the lowest cell may be below what the probe proves, 0 or less,
// by what was measured and filled by hand and by its own use, as of the last step.
func (b *Balance) LowestMM() float64 { return min(b.diffs.lowestMM, b.diffs.fixedMM-b.lowMM) }

// Rejected is why a level reading cannot be used.
type Rejected uint8

// The reasons. The zero value is none: the reading is used.
const (
	NotRejected   Rejected = iota
	NoSuchCell             // the pack has no cell of this number
	AboveVentWell          // no cell can show such a level
	NoTemperature          // so it cannot be referred to 25 °C
	NoPilotLevel           // so there is nothing to compare it with
)

// Judge reports why a level reading of one cell (1 is the positive end) cannot be
// used. It changes nothing.
func (b *Balance) Judge(number int, levelMM float64) Rejected {
	switch {
	case number < 1 || number > b.cfg.Cells:
		return NoSuchCell
	case math.IsNaN(levelMM) || levelMM > b.cfg.VentWellMM+OverWellMM:
		return AboveVentWell
	case !b.s.RiseKnown:
		return NoTemperature
	case !b.s.Known && !b.open && !b.visit:
		return NoPilotLevel
	}
	return NotRejected
}

// Level accepts a level reading of one cell (1 is the positive end), as measured;
// it moves that cell's estimate relative to the pilot. A reading that differs from
// the estimate by more than 3 mm counts at once in the safe direction. In the other
// direction it counts when a second one agrees with it; until then Status.Doubted
// has its bit. A reading above the plate tops ends what Dry said, and one at them
// says it, even one that Judge does not accept, which changes nothing else.
func (b *Balance) Level(number int, levelMM float64) Rejected {
	return b.level(number, levelMM, rodSD)
}

// Mark is Level for a cell that was filled to the mark by eye.
func (b *Balance) Mark(number int, levelMM float64) Rejected {
	return b.level(number, levelMM, markSD)
}

func (b *Balance) level(number int, levelMM, sd float64) Rejected {
	why := b.Judge(number, levelMM)
	if c := b.cell(number); c != nil {
		c.WasDry, c.Dry = c.Dry, !(levelMM > 0)
	}
	settled := levelMM - b.riseMM - b.gasMM
	if why == NotRejected || why == NoPilotLevel {
		b.readKnown(number-1, settled, sd)
		b.seen(number)
		b.compareProbe(number, settled, sd)
	}
	if why != NotRejected {
		return why
	}
	if !b.s.Known && b.open && !b.visit {
		// The probe works but does not measure: one cell's level is the best known
		// figure for all.
		b.anchor(settled, b.gassingAh)
		b.s.SettledMM, b.s.Known = settled, true
	}
	b.read(number-1, settled-b.pilotFor(number-1))
	return NotRejected
}

// Dry records that the level rod shows the plates of a cell (1 is the positive end).
// How deep the level is, no rod shows, so the cell counts as bare until a reading
// above the plate tops, whatever water it is given. An estimate above the tops moves
// down to them.
func (b *Balance) Dry(number int) {
	if number < 1 || number > b.cfg.Cells {
		return
	}
	b.cells[number-1].Dry = true
	b.dryKnown(number - 1)
	b.seen(number)
	if mm, known := b.NowMM(number); known && mm > 0 {
		b.read(number-1, -b.riseMM-b.gasMM-b.pilotFor(number-1))
	}
}

// NowMM returns the likely level of a cell now, as a level rod would show it, with
// heat and gas. known is false without a temperature or a level to count from.
func (b *Balance) NowMM(number int) (mm float64, known bool) {
	if number < 1 || number > b.cfg.Cells || !b.s.RiseKnown || !b.s.Known && !b.visit {
		return 0, false
	}
	return b.likelyNow(number-1) + b.riseMM + b.gasMM, true
}

// betweenPlates is the share of a cell's section that is liquid between the plates
// where an amount is worked out: the middle of leastFree and all of it, since the
// construction of the cell is not known.
const betweenPlates = (leastFree + 1) / 2

// BetweenML returns how much water lifts a cell from one measured level to another,
// 0 when that is lower.
func (b *Balance) BetweenML(fromMM, toMM float64) float64 {
	from, to := min(fromMM, 0)*betweenPlates+max(fromMM, 0), min(toMM, 0)*betweenPlates+max(toMM, 0)
	return b.ml(max(to-from, 0))
}

// read processes one reading as a difference to the pilot cell.
func (b *Balance) read(i int, offset float64) {
	c := &b.cells[i]
	b.before[i], b.undo = *c, b.undo|1<<i
	likely := b.likelyMM(i)
	b.learnUse(c, likely, offset)
	agrees := math.Abs(offset-likely) <= agreeMM
	low, high := min(b.rodLowMM(i), offset), max(likely+c.HighMM, offset)
	c.OffsetMM, c.LowMM, c.HighMM = offset, low-offset, high-offset
	if agrees {
		c.LowMM, c.HighMM = 0, 0
	}
	c.Measured, c.Fresh, c.ReadAh, c.PouredML = true, true, b.gassingAh, 0
	b.diffs.outdated = true
	if b.visit {
		c.PouredML = b.given[i]
		b.byRod |= 1 << i
	}
	b.doubt(i)
}

// rodLowMM returns the lowest estimate, which a doubted reading must not raise.
func (b *Balance) rodLowMM(i int) float64 { return b.likelyMM(i) + b.cells[i].LowMM }

// doubt marks whether the cell needs a second reading.
func (b *Balance) doubt(i int) {
	low, high := b.cells[i].LowMM, b.cells[i].HighMM
	if b.fixed(i) {
		low, high = b.know.cells[i].LowMM, b.know.cells[i].HighMM
	}
	b.s.Doubted &^= 1 << i
	if low < -agreeMM || high > agreeMM {
		b.s.Doubted |= 1 << i
	}
}

// learnUse compares a reading with the level that the cell would have if it used as
// much as the pilot. A difference that is not plausible is not use but a leak or an
// error.
func (b *Balance) learnUse(c *Cell, likely, offset float64) {
	lost := b.mm(electrolyte.WaterML(b.gassingAh - c.ReadAh))
	if !c.Measured || lost < learnMM || c.LowMM != 0 || c.HighMM != 0 || math.Abs(offset-likely) > 2*agreeMM {
		return
	}
	seen := 1 - (offset-c.OffsetMM)/lost
	spread := math.Sqrt2 * rodMM / lost
	weight := useSpread * useSpread / (useSpread*useSpread + spread*spread)
	c.Use = min(max(c.Use+weight*(seen-c.Use), leastUse), mostUse)
}

// Filled closes a visit: each cell rose by what it was given, and the balance
// starts again from the next calm level. beforeMM is the pilot's settled level when
// the visit opened; without it the water is only counted. The amounts of guessed cells
// were not measured: their level is estimated from them, but they judge no cell. It returns
// how much of the pilot's water, ml, its level already showed when the visit opened.
func (b *Balance) Filled(givenML *[MaxCells]float64, guessed CellSet, beforeMM float64, beforeOK bool, gassingAh float64) (earlierML float64) {
	pilotML, shown, earlier := b.pilotML(givenML, !beforeOK), b.shown(!beforeOK), 0.0
	fromMM := beforeMM
	if beforeOK {
		earlier = b.earlier(beforeMM, b.mm(pilotML))
		fromMM -= earlier
		b.learnScale(fromMM)
		if b.risenMM == 0 { // otherwise the cells were already taken for so much lower
			beforeMM = fromMM
		}
	}
	late := b.recorded(b.mm(pilotML), earlier, !beforeOK)
	for i := range b.cfg.Cells {
		c := &b.cells[i]
		if givenML[i] != c.PouredML {
			c.Fresh = false
		}
		switch {
		case shown.Has(i + 1):
		case i+1 == b.cfg.Pilot && !b.byRod.Has(i+1) && c.PouredML == 0: // its probe shows the water itself
		case beforeOK && b.s.Known && !b.open:
			c.OffsetMM += beforeMM + b.mm(givenML[i]) - b.s.SettledMM
		default:
			c.OffsetMM += b.mm(givenML[i]-pilotML) + late
		}
		c.PouredML = 0
	}
	b.anchored, b.anchorAh = false, gassingAh
	b.s.LostML, b.s.PredictOK = 0, false
	b.s.ForecastOK = false // that of before the water
	if b.open && beforeOK {
		b.anchor(beforeMM+b.mm(pilotML), gassingAh)
	}
	b.undo, b.againstUndo, b.due = 0, false, false
	b.diffs.outdated = true
	if guessed == 0 {
		b.levelAh = gassingAh
	}
	b.closeKnown(without(givenML, shown), guessed, fromMM, beforeOK)
	b.countFills(givenML, guessed)
	return b.ml(earlier)
}

// pilotML returns the water that the pilot was given. If it is not known which cell
// that is, it counts as one of many; of a sheet that is handed in later, its level must
// have risen.
func (b *Balance) pilotML(givenML *[MaxCells]float64, later bool) float64 {
	switch {
	case b.cfg.Pilot > 0:
		return givenML[b.cfg.Pilot-1]
	case later:
		if mm, _, known := b.rose(); known {
			return b.ml(mm)
		}
		if slices.Contains(givenML[:b.cfg.Cells], 0) { // it is one of those that got nothing
			return 0
		}
	}
	return medianOf(givenML[:b.cfg.Cells])
}
