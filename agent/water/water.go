package water

import (
	"math"
	"time"

	"bayward/agent/electrolyte"
	"bayward/agent/reading"
)

// Config is the fixed data of the pack; lengths are above the plate tops.
type Config struct {
	Cells          int // 1 to MaxCells
	Pilot          int // the cell with the probe, 1 to Cells; 0: not known
	ChargeLevelMM  float64
	FillMarkMM     float64
	VentWellMM     float64
	FreeSurfaceCM2 float64
	ElectrolyteML  float64
	FullGravity    float64
	HottestC       float64 // highest service temperature, °C
	GasHoldUpMM    float64 // rise of the level by gas among the plates on charge
}

// Inputs is one tick.
type Inputs struct {
	Now         time.Duration
	Level       reading.Level   // pilot cell, as measured
	PackC       reading.Reading // electrolyte
	Gassing     bool            // charging current flows and splits water
	GassingAh   float64         // total of the string since the memory began
	ChargeEnded time.Duration
	AnyCharge   bool // a charge has ended, at ChargeEnded
	// While a visit is open the pilot cell rises when it is filled and the others
	// do not. So cells count from the pilot's settled level when the visit opened,
	// plus what they were given since.
	Visit   bool
	VisitMM float64
	GivenML *[MaxCells]float64 // with Visit and AtCells; less what was drawn off
	// AtCells means that a visit is open, even one that was opened while the level was
	// not known.
	AtCells bool
	// Blocked means that bare plates block the charge, so every cell below the lowest
	// level for charging needs covering.
	Blocked bool
}

const (
	mmPerCM    = 10.0
	referenceC = 25.0
	spareMM    = 1.0             // margin below the bottom of the vent well and above the lowest level for charging
	wideMM     = 6.0             // a probe that leaves more open does not measure
	calmFor    = time.Hour       // after gassing, before a level counts as settled
	calmGas    = 0.057           // share of the gas hold-up that an hour leaves
	endSeen    = 2 * time.Minute // after which the end of a charge is seen
	gasUp      = 30 * time.Minute
	gasDown    = 20 * time.Minute
	dueShare   = 1.0 / 3 // of the way from the fill mark to lowest level for charging
	// leastFree is the smallest share of a cell's section that is liquid between
	// the plates; it keeps an amount for bare plates below the ceiling.
	leastFree = 0.3
)

// Balance tracks the water of one pack. Create it with [New].
type Balance struct {
	cfg Config
	s   Status

	last      time.Duration
	started   bool
	gassingAh float64 // total of the string, of the last step
	gasMM     float64 // part of the level that is gas, mm
	riseMM    float64 // thermal part of the level, mm
	hotMM     float64 // the same at the highest temperature for a charge
	held      held
	riseAtC   float64 // temperature for which riseMM was worked out
	riseSet   bool
	cells     [MaxCells]Cell
	fillUse   [MaxCells]float64 // use over the median by what was filled, 1 or more
	diffs     differences
	visits    int
	anchorMM  float64 // settled level from which the balance counts
	anchorAh  float64 // gassing total then
	anchored  bool
	strayMM   float64       // error of the balance when it passed rods
	beganAt   time.Duration // of the balance
	beganAh   float64
	began     bool
	know      knowledge
	still     still
	risenMM   float64 // UnrecordedMM before the readings of the open visit
	risen     CellSet // cells that were not read since UnrecordedMM
	risenAt   *RisenAt
	against   against // level readings in the probe's cell
	// againstBefore is what it was before the last reading of the open visit, with
	// againstUndo.
	againstBefore against
	againstUndo   bool
	lowMM         float64       // settled level that the probe proves
	spanMM        float64       // that the probe leaves open
	probeCalm     bool          // and the electrolyte is calm
	calmFrom      time.Duration // not before, after a restart
	atCells       bool          // and the three below, of the last step
	visit         bool
	visitMM       float64
	given         *[MaxCells]float64
	byRod         CellSet        // cells whose level was read in the open visit
	overHere      CellSet        // cells that the open visit took over their ceiling
	blocked       bool           // of the last step
	short         CellSet        // cells that need covering in the open visit
	before        [MaxCells]Cell // cells before their last level reading, of those in undo
	undo          CellSet
	edge          edge
	open          bool // the probe works but leaves more than wideMM open
	use           use
	teaches       bool    // calmMM was measured since the anchor
	calmMM        float64 // last settled level in calm electrolyte
	// calmLostML is the water that the balance had lost by then.
	calmLostML float64
	lowUse     float64 // use of the lowest cell over that of the pilot
	forecastAt time.Duration
	steady     steady
	levelAh    float64 // gassing total when all cells were last filled by measure or to their marks
	soonMM     float64 // height that the lowest cell loses in soonH; valid with ForecastOK
	due        bool    // it called for water
}

// New returns a balance that knows no level yet.
func New(cfg Config) *Balance {
	b := &Balance{cfg: cfg, calmFrom: math.MinInt64, diffs: differences{outdated: true}, use: use{scale: 1, scaleSE: scaleSpread}}
	b.s.Cells = cfg.Cells
	for i := range b.cells {
		b.cells[i].Use, b.fillUse[i] = 1, 1
	}
	b.hotMM = electrolyte.LevelRiseMM(cfg.ElectrolyteML, cfg.FreeSurfaceCM2, referenceC, cfg.HottestC, cfg.FullGravity)
	b.limitFills()
	return b
}

// Status returns the state after the last step; it is valid until the next.
func (b *Balance) Status() *Status { return &b.s }

// Step processes one tick.
func (b *Balance) Step(in *Inputs) {
	dt := in.Now - b.last
	if !b.started || dt < 0 {
		b.started, dt = true, 0
	}
	b.last, b.gassingAh = in.Now, in.GassingAh
	b.visit, b.visitMM, b.given, b.blocked = in.Visit && in.GivenML != nil, in.VisitMM, in.GivenML, in.Blocked
	if !b.visit {
		b.byRod, b.overHere = 0, 0
	}
	b.atCells = (in.AtCells || in.Visit) && in.GivenML != nil
	b.know.touched = b.know.touched || b.atCells && !b.know.begun(b.cfg.Cells)
	b.holdUp(in.Gassing, dt)
	b.lose(in)
	b.settle(in, dt)
	b.Again()
	b.forecast()
	b.call()
}

// Again works out the amounts and the bare cells again after something was recorded
// between two steps.
func (b *Balance) Again() *Status {
	b.follow()
	b.diffs.outdated = b.diffs.outdated || b.know.outdated
	b.compareCells()
	moved := b.knowAgain()
	b.need()
	if moved {
		b.askFor()
		b.readDue()
	}
	b.call()
	b.s.Bare, b.s.Over = b.Bare(), b.Over()
	return &b.s
}

// holdUp tracks the gas held among the plates: it builds up while gas forms and
// leaves when that ends (first order; from memory, several millimetres).
func (b *Balance) holdUp(gassing bool, dt time.Duration) {
	to, over := 0.0, gasDown
	if gassing {
		to, over = b.holdUpMM(), gasUp
	}
	b.gasMM += (to - b.gasMM) * float64(dt) / float64(dt+over)
}

func (b *Balance) lose(in *Inputs) {
	if !b.began {
		b.began, b.beganAt = true, in.Now
		b.beganAh = in.GassingAh
		if !b.anchored {
			b.anchorAh = in.GassingAh
		}
	}
	b.use.pass(in.Now-b.beganAt, in.GassingAh)
	b.s.LostML = electrolyte.WaterML(in.GassingAh - b.anchorAh)
	b.s.LostTotal = electrolyte.WaterML(in.GassingAh)
}

// mm returns the height of a volume in one cell.
func (b *Balance) mm(ml float64) float64 { return ml / b.cfg.FreeSurfaceCM2 * mmPerCM }

// ml returns the volume of a height in one cell.
func (b *Balance) ml(mm float64) float64 { return mm * b.cfg.FreeSurfaceCM2 / mmPerCM }

// need calculates the water of each cell: to the fill mark, never past the ceiling;
// and to just above the lowest level for charging, for bare plates. It finds the lowest
// estimate of all. A cell that may already be at the ceiling gets nothing until it is
// read.
func (b *Balance) need() {
	b.s.TotalML = 0
	if !b.s.Known {
		return
	}
	// What is above the lowest level for charging now, by heat or gas, is covered.
	now := b.riseMM + b.gasMM
	b.s.LowMM = math.Inf(1)
	var level, needML, fillML, total float64
	for i := range b.cfg.Cells {
		d := &b.diffs.cells[i]
		if i > 0 && *d == b.diffs.cells[i-1] && !b.visit && b.know.low[i] == b.know.low[i-1] && b.know.high[i] == b.know.high[i-1] { // as most cells are
			b.s.LevelMM[i], b.s.NeedML[i], b.s.CoverPlatesML[i] = level, needML, fillML
			total += needML
			continue
		}
		pilot := b.pilotFor(i)
		if d.fixed {
			pilot = 0
		}
		level = pilot + d.likelyMM
		needML, fillML = b.cfg.CellNeed(level, now, b.s.CeilingMM)
		// A probe that shows more than the rod leaves less room for what ends a doubt.
		fillML = max(fillML, min(b.doubtML(i), b.cfg.RoomML(level, b.s.CeilingMM)))
		if d.highMM > d.likelyMM { // the higher estimate may be the true one
			room := b.ml(max(b.s.CeilingMM-pilot-d.highMM, 0))
			needML, fillML = min(needML, room), min(fillML, room)
		}
		// So may the highest by what was measured in the cell itself.
		room := b.ml(max(b.s.CeilingMM-b.know.high[i], 0))
		needML, fillML = min(needML, room), min(fillML, room)
		b.s.LevelMM[i], b.s.NeedML[i], b.s.CoverPlatesML[i] = level, needML, fillML
		total += needML
		low := pilot + d.lowMM
		if i+1 == b.cfg.Pilot {
			low = min(low, b.pilotRodMM())
		}
		if low < b.s.LowMM {
			b.s.LowMM, b.s.LowCell, b.lowUse = low, i+1, d.use
		}
	}
	b.s.TotalML = total
}

// CellNeed returns the water for one cell, in millilitres: to the fill mark, and
// only to just above the lowest level for charging, for bare plates. Between the
// plates only part of the section is liquid, so the latter is the least that can
// cover them, and the level must be read again. Neither passes the ceiling, even if
// only three tenths of the section are liquid between the plates. settledMM is the cell's level at 25 °C without gas, riseMM how much
// higher it is now (see Status).
func (c *Config) CellNeed(settledMM, riseMM, ceilingMM float64) (needML, fillML float64) {
	perMM, most := c.FreeSurfaceCM2/mmPerCM, c.RoomML(settledMM, ceilingMM)
	needML = min(perMM*max(c.FillMarkMM-settledMM, 0), most)
	if settledMM+riseMM < c.ChargeLevelMM {
		least := min(min(c.ChargeLevelMM+spareMM, ceilingMM)-riseMM, ceilingMM)
		upMM := max(least-settledMM, 0)
		underMM := min(max(-settledMM-riseMM, 0), upMM) // between the plates
		fillML = min(perMM*(upMM-underMM*(1-leastFree)), most)
	}
	return needML, fillML
}

// RoomML returns how much water lifts a cell from a level to a limit, both as
// measured or both settled.
func (c *Config) RoomML(levelMM, limitMM float64) float64 {
	return c.FreeSurfaceCM2 / mmPerCM * max(limitMM-min(levelMM, 0)*leastFree-max(levelMM, 0), 0)
}

// pilotFor returns the settled level that a cell's difference counts from.
func (b *Balance) pilotFor(i int) float64 {
	if !b.visit {
		return b.s.SettledMM
	}
	mm := b.visitMM + b.mm(b.given[i])
	if i+1 != b.cfg.Pilot || b.risenMM == 0 {
		return mm
	}
	// Some of it may be the water that the level already showed: then it does not rise.
	return max(mm-b.risenMM, min(b.s.SettledMM, mm), min(b.visitMM, mm))
}
