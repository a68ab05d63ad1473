package water

import (
	"math"
	"slices"
	"time"
)

// Memory is what must survive a restart. Lists that an older program's memory lacks
// are empty.
type Memory struct {
	OffsetMM  []float64 `json:"offset_mm"`
	Anchored  bool      `json:"anchored,omitempty"`
	AnchorMM  float64   `json:"anchor_mm"`
	AnchorAh  float64   `json:"anchor_ah"`
	BeganAgoS float64   `json:"began_ago_s"`
	BeganAh   float64   `json:"began_ah"`
	Began     bool      `json:"began,omitempty"`

	Cells   []Cell    `json:"cells,omitempty"`
	StrayMM float64   `json:"stray_mm,omitempty"`
	Visits  int       `json:"visits,omitempty"`
	DaysML  []float64 `json:"days_ml,omitempty"`
	DayAh   float64   `json:"day_ah,omitempty"`
	Scale   float64   `json:"scale,omitempty"`
	ScaleSE float64   `json:"scale_se,omitempty"`
	Due     bool      `json:"due,omitempty"` // the call for water was made
	// Absent in the memories of programs that did not know how sure a level is.
	Known   []KnownCell `json:"known,omitempty"`
	Touched bool        `json:"touched,omitempty"`
	RiseMM  *float64    `json:"rise_mm,omitempty"` // of the last visit, which the pilot's probe must still show
	FromMM  float64     `json:"rise_from_mm,omitempty"`
	ReadDue bool        `json:"read_due,omitempty"`
	LevelAh float64     `json:"level_ah,omitempty"` // gassing total at the last visit that measured all its water
	GasMM   float64     `json:"gas_mm,omitempty"`   // part of the level that is gas
	HeldMM  []float64   `json:"held_mm,omitempty"`  // see held
	StillMM *[2]float64 `json:"still_mm,omitempty"` // the level that was still, from and to
	RisenMM float64     `json:"risen_mm,omitempty"` // see Status.UnrecordedMM
	RisenAt *RisenAt    `json:"risen_at,omitempty"`
	// Seen are the cells that were read since it; a memory of an older program lacks it.
	Seen   CellSet   `json:"risen_read,omitempty"`
	OffMM  []float64 `json:"read_off_mm,omitempty"` // see against
	OffNow bool      `json:"read_off,omitempty"`    // they were named
	// Contradict is the share of the last readings that contradicted what was known.
	Contradict float64 `json:"contradict,omitempty"`
}

// Memory returns what must survive a restart, as of the last step.
func (b *Balance) Memory() Memory {
	m := Memory{
		Anchored: b.anchored, AnchorMM: b.anchorMM, AnchorAh: b.anchorAh,
		BeganAgoS: (b.last - b.beganAt).Seconds(), BeganAh: b.beganAh, Began: b.began,
		StrayMM: b.strayMM, Visits: b.visits, DaysML: append([]float64(nil), b.use.daysML[:b.use.n]...), DayAh: b.use.beganAh,
		Scale: b.use.scale, ScaleSE: b.use.scaleSE,
		OffsetMM: []float64{}, Due: b.due,
		Known: b.storedKnown(), Touched: b.know.touched, ReadDue: b.s.ReadDue, Contradict: float64(b.know.readers),
	}
	m.GasMM, m.LevelAh = b.gasMM, b.levelAh
	m.HeldMM = append(m.HeldMM, b.held.mm[:b.held.n]...)
	if m.RisenMM = b.s.UnrecordedMM; m.RisenMM > 0 {
		m.Seen, m.RisenAt = b.others()&^b.risen, b.risenAt
	}
	m.OffMM, m.OffNow = append(m.OffMM, b.against.list()...), b.against.named
	if b.still.known {
		m.StillMM = &[2]float64{b.still.lowMM, b.still.highMM}
	}
	if r := &b.know.rise; r.pending {
		m.RiseMM, m.FromMM = new(r.mm), r.fromMM
	}
	for i := range b.cfg.Cells {
		c := &b.cells[i]
		m.OffsetMM = append(m.OffsetMM, c.OffsetMM)
		m.Cells = append(m.Cells, *c)
	}
	return m
}

// Valid reports whether the memory can be one that was saved for this pack.
func (m *Memory) Valid(cells int) bool {
	if len(m.OffsetMM) != cells || len(m.DaysML) > daysKept || m.Visits < 0 || m.BeganAgoS < 0 {
		return false
	}
	lists := [][]float64{{m.AnchorMM, m.AnchorAh, m.BeganAgoS, m.BeganAh, m.DayAh, m.StrayMM, m.RisenMM, m.FromMM, m.LevelAh}, m.OffsetMM, m.DaysML}
	if m.StillMM != nil {
		lists = append(lists, m.StillMM[:])
	}
	if m.RisenAt != nil {
		lists = append(lists, []float64{m.RisenAt.Ah, m.RisenAt.WarmMM})
	}
	if m.RiseMM != nil {
		lists = append(lists, []float64{*m.RiseMM})
	}
	return !slices.ContainsFunc(lists, func(list []float64) bool { return !allSane(list) }) &&
		m.GasMM >= 0 && m.GasMM <= mostMM && heldValid(m.HeldMM) && againstValid(m.OffMM) && m.scaleValid() && m.cellsValid(cells)
}

func (m *Memory) scaleValid() bool {
	return m.Scale == 0 && m.ScaleSE == 0 || m.Scale >= 0.2 && m.Scale <= 5 && m.ScaleSE >= 0 && m.ScaleSE <= scaleSpread
}

// cellsValid checks what is kept by cell; a memory of an older program lacks it.
func (m *Memory) cellsValid(cells int) bool {
	if len(m.Cells) != cells && len(m.Cells) != 0 || len(m.Known) != cells && len(m.Known) != 0 {
		return false
	}
	for i := range m.Cells {
		if !m.Cells[i].valid() {
			return false
		}
	}
	if !(m.Contradict >= 0 && m.Contradict <= 1) {
		return false
	}
	for i := range m.Known {
		if !m.Known[i].valid() {
			return false
		}
	}
	return true
}

func (c *Cell) valid() bool {
	return sane(c.LowMM) && c.LowMM <= 0 && sane(c.HighMM) && c.HighMM >= 0 && c.Use >= leastUse && c.Use <= mostUse &&
		sane(c.ReadAh) && sane(c.PouredML) && sane(c.FilledML) && c.FilledML >= 0
}

func allSane(list []float64) bool {
	for _, x := range list {
		if !sane(x) {
			return false
		}
	}
	return true
}

// mostAgoS is 70 years; the core's clock spans fewer.
const mostAgoS = 70 * 365 * 86400

func sane(x float64) bool { return math.Abs(x) <= 1e12 } // false for NaN

// Restore restores a memory before the first step. Cells stay as they were last
// filled and measured, however long the gap.
func (b *Balance) Restore(m *Memory, now, gap time.Duration) {
	b.held.n = copy(b.held.mm[:], m.HeldMM)
	b.limitFills()
	b.restoreKnown(m, now, gap)
	for i := range b.cfg.Cells {
		if i < len(m.Cells) {
			b.cells[i] = m.Cells[i]
		}
		b.cells[i].OffsetMM = m.OffsetMM[i]
		b.doubt(i)
	}
	b.anchored, b.anchorMM, b.anchorAh, b.strayMM = m.Anchored, m.AnchorMM, m.AnchorAh, m.StrayMM
	b.began, b.beganAh, b.last = m.Began, m.BeganAh, now
	b.beganAt = now - gap - time.Duration(m.BeganAgoS*float64(time.Second))
	b.restoreUse(m)
	b.visits, b.diffs.outdated, b.due, b.levelAh = m.Visits, true, m.Due, m.LevelAh
	b.judgeFills()
}

// restoreUse restores the days; a memory without them begins a new day.
func (b *Balance) restoreUse(m *Memory) {
	if m.Scale > 0 {
		b.use.scale, b.use.scaleSE = m.Scale, m.ScaleSE
	}
	if len(m.Cells) == 0 {
		return
	}
	b.use.n = copy(b.use.daysML[:], m.DaysML)
	b.use.day = int64(time.Duration(m.BeganAgoS*float64(time.Second)) / day)
	b.use.beganAh, b.use.begun = m.DayAh, m.Began
}

// storedKnown returns the careful estimates with the age of their readings.
func (b *Balance) storedKnown() (cells []KnownCell) {
	for i := range b.cfg.Cells {
		c := b.know.cells[i]
		if c.AgoS = 0; c.Set {
			c.AgoS = c.agoS(b.last)
		}
		cells = append(cells, c)
	}
	return cells
}

// restoreKnown restores them. A memory without them is of an older program: the cells
// are known only as they are likely to be.
func (b *Balance) restoreKnown(m *Memory, now, gap time.Duration) {
	k := &b.know
	k.older, k.touched, k.outdated, k.readers = len(m.Known) == 0, m.Touched, true, readers(m.Contradict)
	b.s.ReadDue, b.s.UnrecordedMM, b.gasMM = m.ReadDue, m.RisenMM, m.GasMM
	if m.RisenMM > 0 {
		b.risen, b.risenMM, b.risenAt = b.others()&^m.Seen, m.RisenMM, m.RisenAt
	}
	b.against.n, b.against.named = copy(b.against.mm[:], m.OffMM), m.OffNow
	b.s.ReadOffMM = b.against.judge()
	if b.calmFrom = math.MinInt64; m.GasMM > calmGas*b.holdUpMM() { // a charge that the restart cut has no end
		b.calmFrom = now + calmFor + endSeen
	}
	if s := m.StillMM; s != nil {
		b.still.lowMM, b.still.highMM, b.still.known = s[0], s[1], true
	}
	if m.RiseMM != nil {
		k.rise = rise{m.FromMM, *m.RiseMM, true}
	}
	copy(k.cells[:b.cfg.Cells], m.Known)
	for i := range k.cells[:len(m.Known)] {
		c := &k.cells[i]
		c.readAt = now - gap - time.Duration(c.AgoS*float64(time.Second))
	}
}

func (c *KnownCell) valid() bool {
	const most = 1e4
	for _, x := range []float64{c.LevelMM, c.Cov, c.LowMM, c.HighMM} {
		if !(math.Abs(x) <= most) {
			return false
		}
	}
	return c.LeakMM >= 0 && c.LeakMM <= mostLeak && c.OverMM >= 0 && c.OverMM <= most && c.SlowRate >= 0 && c.SlowRate <= mostRate && c.SlipMM >= 0 && c.SlipMM <= mostMM && c.UnseenMM >= 0 && c.UnseenMM <= mostMM && c.UnseenVar >= 0 && c.UnseenVar <= most*most && c.Var >= 0 && c.Var <= most*most && c.RateVar >= 0 && c.RateVar <= most && c.LowMM <= 0 && c.HighMM >= 0 &&
		c.Rate >= 0 && c.Rate <= mostRate && c.BiasMM >= 0 && c.BiasMM <= readerMM &&
		sane(c.AtAh) && sane(c.ML) && sane(c.ReadML) && c.AgoS >= 0 && c.AgoS <= mostAgoS
}
