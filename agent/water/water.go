package water

import (
	"time"

	"bayward/agent/electrolyte"
	"bayward/agent/reading"
)

// Config is what is fixed of the pack; lengths are above the plate tops.
type Config struct {
	Cells          int // 1 to MaxCells
	ChargeCoverMM  float64
	TargetCoverMM  float64
	VentFloorMM    float64
	FreeSurfaceCM2 float64
	ElectrolyteML  float64
	FullGravity    float64
	HottestC       float64 // highest service temperature, °C
	GasHoldUpMM    float64 // level raised by gas held among the plates on charge
}

// Inputs is one tick.
type Inputs struct {
	Now         time.Duration
	Cover       reading.Cover   // pilot cell, as measured
	PackC       reading.Reading // electrolyte
	Gassing     bool            // charging current flows and splits water
	GassingAh   float64         // total of the string since the memory began
	ChargeEnded time.Duration
	AnyCharge   bool // a charge has ended, at ChargeEnded
	// While a visit is open the pilot cell rises when it is filled and the
	// others do not: cells count from the pilot's settled cover when the visit
	// opened, and from what they were given since.
	Visit   bool
	VisitMM float64
	GivenML *[MaxCells]float64 // with Visit
}

const (
	mmPerCM     = 10.0
	referenceC  = 25.0
	spareMM     = 1.0       // stays free below the vent floor, and above the charge cover
	wideMM      = 6.0       // a probe that leaves more open does not measure
	calmFor     = time.Hour // after gassing, before a level counts as settled
	gasUp       = 30 * time.Minute
	gasDown     = 20 * time.Minute
	dueShare    = 1.0 / 3 // of the way from target to charge cover
	soonH       = 72.0    // hours of forecast below which a visit is due
	leastRateH  = 24.0    // hours of record before a forecast
	rangeShare  = 0.4     // half width of the forecast's range: weekly use varies
	minForecast = 0.0
)

// Balance follows the water of one pack. Make it with New.
type Balance struct {
	cfg Config
	s   Status

	last     time.Duration
	started  bool
	gasMM    float64 // part of the level that is gas, mm
	riseMM   float64 // thermal part of the level, mm
	riseAtC  float64 // temperature for which riseMM was worked out
	riseSet  bool
	offset   [MaxCells]float64 // cell less pilot, mm
	anchorMM float64           // settled cover from which the balance counts
	anchorAh float64           // gassing total then
	anchored bool
	beganAt  time.Duration // of the balance
	beganAh  float64
	began    bool
	visit    bool // and the two below, of the last step
	visitMM  float64
	given    *[MaxCells]float64
}

// New makes a balance that knows no level yet.
func New(cfg Config) *Balance {
	b := &Balance{cfg: cfg}
	b.s.Cells = cfg.Cells
	hot := electrolyte.LevelRiseMM(cfg.ElectrolyteML, cfg.FreeSurfaceCM2, referenceC, cfg.HottestC, cfg.FullGravity)
	b.s.CeilingMM = cfg.VentFloorMM - hot - cfg.GasHoldUpMM - spareMM
	return b
}

// Status gives the state after the last step; it is valid until the next.
func (b *Balance) Status() *Status { return &b.s }

// LowestMM is how far the lowest cell stands below the pilot cell, 0 or less,
// by what people have measured and filled.
func (b *Balance) LowestMM() float64 {
	low := 0.0
	for _, o := range b.offset[:b.cfg.Cells] {
		low = min(low, o)
	}
	return low
}

// Step takes in one tick.
func (b *Balance) Step(in *Inputs) {
	dt := in.Now - b.last
	if !b.started || dt < 0 {
		b.started, dt = true, 0
	}
	b.last = in.Now
	b.visit, b.visitMM, b.given = in.Visit && in.GivenML != nil, in.VisitMM, in.GivenML
	b.holdUp(in.Gassing, dt)
	b.lose(in)
	b.settle(in)
	b.need()
	b.forecast(in)
}

// holdUp follows the gas held among the plates: it builds up while gas is made
// and leaves when it ends (first order; from memory, several millimetres).
func (b *Balance) holdUp(gassing bool, dt time.Duration) {
	to, over := 0.0, gasDown
	if gassing {
		to, over = b.cfg.GasHoldUpMM, gasUp
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
	b.s.LostML = electrolyte.WaterML(in.GassingAh - b.anchorAh)
	b.s.LostTotal = electrolyte.WaterML(in.GassingAh)
}

// thermal is the rise of the level over that at 25 °C. It is worked out anew
// only when the temperature has moved.
func (b *Balance) thermal(packC float64) float64 {
	const step = 0.1
	if d := packC - b.riseAtC; !b.riseSet || d > step || d < -step {
		b.riseMM = electrolyte.LevelRiseMM(b.cfg.ElectrolyteML, b.cfg.FreeSurfaceCM2, referenceC, packC, b.cfg.FullGravity)
		b.riseAtC, b.riseSet = packC, true
	}
	return b.riseMM
}

// settle refers the measured cover to 25 °C and no gas, and holds it against
// the balance while the electrolyte is calm.
func (b *Balance) settle(in *Inputs) {
	b.s.PredictOK = b.anchored
	if b.anchored {
		b.s.PredictMM = b.anchorMM - b.mm(b.s.LostML)
	}
	b.s.RiseKnown = in.PackC.OK()
	if b.s.RiseKnown {
		b.s.RiseMM = b.thermal(in.PackC.Value) + b.gasMM
	}
	if !in.Cover.OK() || !in.PackC.OK() {
		b.s.Known = false
		return
	}
	off := b.s.RiseMM
	low, high := in.Cover.LowMM-off, in.Cover.HighMM-off
	b.s.Known = true
	switch {
	case high-low <= wideMM:
		b.s.SettledMM = (low + high) / 2
	case b.anchored:
		b.s.SettledMM = min(max(b.s.PredictMM, low), high)
	default:
		b.s.Known = false
		return
	}
	calm := !in.Gassing && (!in.AnyCharge || in.Now-in.ChargeEnded >= calmFor)
	if !calm {
		b.s.ApartMM, b.s.PredictOK = 0, false
		return
	}
	if !b.anchored && high-low <= wideMM {
		b.anchor(b.s.SettledMM, in.GassingAh)
	}
	b.s.ApartMM = b.s.SettledMM - b.s.PredictMM
}

func (b *Balance) anchor(settledMM, gassingAh float64) {
	b.anchored, b.anchorMM, b.anchorAh = true, settledMM, gassingAh
	b.s.PredictMM, b.s.PredictOK, b.s.LostML = settledMM, true, 0
}

// mm is the height that a volume takes in one cell.
func (b *Balance) mm(ml float64) float64 { return ml / b.cfg.FreeSurfaceCM2 * mmPerCM }

// ml is the volume of a height in one cell.
func (b *Balance) ml(mm float64) float64 { return mm * b.cfg.FreeSurfaceCM2 / mmPerCM }

// need works out the water of each cell: to the target, never past the
// ceiling; and to just above the charge cover, for bare plates.
func (b *Balance) need() {
	b.s.TotalML, b.s.Due = 0, false
	if !b.s.Known {
		return
	}
	dueAt := b.cfg.TargetCoverMM - dueShare*(b.cfg.TargetCoverMM-b.cfg.ChargeCoverMM)
	// What stands above the charge cover now, warm or gassing, is covered.
	now := b.riseMM + b.gasMM
	for i := range b.cfg.Cells {
		cover := b.pilotFor(i) + b.offset[i]
		b.s.CoverMM[i] = cover
		b.s.NeedML[i], b.s.FillML[i] = b.cfg.CellNeed(cover, now, b.s.CeilingMM)
		b.s.TotalML += b.s.NeedML[i]
		b.s.Due = b.s.Due || cover <= dueAt
	}
}

// CellNeed is the water of one cell, in millilitres: to the target, and only
// to just above the charge cover, for bare plates. Neither passes the ceiling.
// settledMM is the cell's cover at 25 °C without gas, riseMM what it stands
// higher now (see Status).
func (c *Config) CellNeed(settledMM, riseMM, ceilingMM float64) (needML, fillML float64) {
	perMM := c.FreeSurfaceCM2 / mmPerCM
	needML = perMM * max(min(c.TargetCoverMM, ceilingMM)-settledMM, 0)
	if settledMM+riseMM < c.ChargeCoverMM {
		least := min(min(c.ChargeCoverMM+spareMM, ceilingMM)-riseMM, ceilingMM)
		fillML = perMM * max(least-settledMM, 0)
	}
	return needML, fillML
}

// pilotFor is the settled cover that a cell's difference counts from.
func (b *Balance) pilotFor(i int) float64 {
	if !b.visit {
		return b.s.SettledMM
	}
	return b.visitMM + b.mm(b.given[i])
}

// forecast spreads the water lost since the balance began over its time.
func (b *Balance) forecast(in *Inputs) {
	b.s.ForecastOK = false
	h := (in.Now - b.beganAt).Hours()
	lost := electrolyte.WaterML(in.GassingAh - b.beganAh)
	if !b.s.Known || !b.began || h < leastRateH || lost <= 0 {
		return
	}
	left := b.ml(b.s.SettledMM + b.LowestMM() - b.cfg.ChargeCoverMM)
	b.s.ForecastH = max(left*h/lost, minForecast)
	b.s.ForecastLo = b.s.ForecastH * (1 - rangeShare)
	b.s.ForecastHi = b.s.ForecastH * (1 + rangeShare)
	b.s.ForecastOK = true
	b.s.Due = b.s.Due || b.s.ForecastH < soonH
}

// Level takes in a dip-rule reading of one cell (1 is the positive end), as
// measured; it moves that cell's estimate against the pilot.
func (b *Balance) Level(cell int, coverMM float64) {
	if cell < 1 || cell > b.cfg.Cells || !b.s.Known {
		return
	}
	b.offset[cell-1] = coverMM - b.riseMM - b.gasMM - b.pilotFor(cell-1)
}

// Filled closes a visit: each cell rose by what it was given, and the balance
// starts anew from the next calm level.
func (b *Balance) Filled(givenML *[MaxCells]float64, pilotBeforeMM float64, gassingAh float64) {
	if b.s.Known {
		for i := range b.cfg.Cells {
			b.offset[i] += pilotBeforeMM + b.mm(givenML[i]) - b.s.SettledMM
		}
	}
	b.anchored, b.anchorAh = false, gassingAh
	b.s.LostML, b.s.PredictOK = 0, false
}
