package water

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// The reading round: which cells to read, and when.
const (
	// askSpareMM is what the careful lower bound must keep above the plate tops until
	// the next visit; a cell that would not is asked for.
	askSpareMM = 0.5
	// clearMM is how far above the plate tops the bound of a cell raises no doubt.
	clearMM = 1.0
	// doubtMM is the bound below which a doubt does not end, see agent/interlock.
	doubtMM = 0.5
	// doubtMostMM is the most water for a doubt: for more, the cell has to be read again.
	doubtMostMM = 4.0
	// unsureSD is the standard error of a level above which an amount is a guess, mm.
	unsureSD = 1.2
	// againMM is the loss after which a cell may be asked for again.
	againMM = 0.5
	// readSoonH is how long before the bound is at the plates a reading is due, h.
	readSoonH = 72.0
	// readAheadMM is the least loss, by Faraday's law, before the bound reaches the
	// plates at which a reading is due, and readAgainShare how much more ends that.
	readAheadMM, readAgainShare = 1.0, 1.3
)

// knowAgain calculates the bounds, and reports whether they have moved; between
// gassing, water and readings they do not.
func (b *Balance) knowAgain() (moved bool) {
	const stepAh = 0.01
	k := &b.know
	if by := b.gassingAh - k.atAh; k.outdated || b.leaking() || by >= stepAh || by <= -stepAh {
		moved, b.s.Unsure = true, 0
		for i := range b.cfg.Cells {
			c := &k.cells[i]
			lost := b.lostSince(c)
			k.low[i], k.high[i] = b.lowIn(c, 0), c.highAfter(lost)
			if _, variance := c.after(lost); variance > unsureSD*unsureSD {
				b.s.Unsure |= 1 << i
			}
		}
		b.s.LowHighMM = slices.Min(k.high[:b.cfg.Cells])
		k.atAh, k.outdated = b.gassingAh, false
	}
	b.surely()
	return moved
}

// surely sets the status of the cell with the lowest bound.
func (b *Balance) surely() {
	k, s := &b.know, &b.s
	if s.SurelyOK = k.begun(b.cfg.Cells); !s.SurelyOK {
		s.SurelyCell, s.SurelyMM, s.NeverRead = 0, math.Inf(-1), true
		return
	}
	s.SurelyCell, s.SurelyMM, s.Doubts, s.Unseen = 1, k.low[0], 0, 0
	for i, low := range k.low[:b.cfg.Cells] {
		if !(low > clearMM) {
			s.Doubts |= 1 << i
		}
		if k.cells[i].Eye && k.cells[i].UnseenMM > 0 {
			s.Unseen |= 1 << i
		}
		if low < s.SurelyMM {
			s.SurelyCell, s.SurelyMM = i+1, low
		}
	}
	c := &k.cells[s.SurelyCell-1]
	s.NeverRead, s.ReadAgeH = c.Lost, (b.last - c.readAt).Hours()
}

// SurelyNowMM returns the careful lower bound of all cells, as a level rod would show it
// at worst: cold lowers it, and neither heat nor gas raises it. known is false before
// the pack's cells are known.
func (b *Balance) SurelyNowMM() (mm float64, known bool) {
	return b.s.SurelyMM + min(b.riseMM, 0), b.s.SurelyOK
}

// aheadMM is the loss, by Faraday's law, of the days in which people can come.
func (b *Balance) aheadMM() float64 {
	mean, _ := b.use.rate()
	return max(b.mm(mean)*readSoonH/day.Hours(), readAheadMM)
}

// untilDueMM is the loss, by Faraday's law, until the next cell calls for water, once
// each has got what it needs.
func (b *Balance) untilDueMM() float64 {
	at := b.cfg.FillMarkMM - dueShare*(b.cfg.FillMarkMM-b.cfg.ChargeLevelMM)
	mm := b.cfg.FillMarkMM - at
	for i := range b.cfg.Cells {
		level := b.s.LevelMM[i] + b.s.NeedML[i]/b.ml(1)
		mm = min(mm, max(level-at, 0)/max(b.know.cells[i].Rate, leastRate))
	}
	return mm
}

// askFor lists the cells whose bound would reach the plates before the next visit,
// the worst first.
func (b *Balance) askFor() {
	k, s := &b.know, &b.s
	next := b.untilDueMM() + b.aheadMM()
	type asked struct {
		cell int
		mm   float64
	}
	var list [MaxCells]asked
	n := 0
	for i := range b.cfg.Cells {
		c := &k.cells[i]
		mm := b.lowIn(c, next)
		if !c.Set || mm < askSpareMM && !b.justRead(c) || b.onlyMarked(c) || s.Doubted&(1<<i) != 0 {
			list[n], n = asked{i + 1, mm}, n+1
		}
	}
	slices.SortStableFunc(list[:n], func(x, y asked) int { return cmp.Compare(x.mm, y.mm) })
	s.ReadAsk, s.ReadFirst = 0, [MaxCells]uint8{}
	for i, a := range list[:n] {
		s.ReadAsk |= 1 << (a.cell - 1)
		s.ReadFirst[i] = uint8(a.cell)
	}
}

// onlyMarked reports whether the cell was last filled to the mark, by eye, and has lost
// water since: no amount is sure after that.
func (b *Balance) onlyMarked(c *KnownCell) bool {
	return c.Rod && !c.Lost && c.Eye && b.lostSince(c) >= againMM
}

// justRead reports whether a rod has read the cell, nothing was poured or lost since, and
// so another reading would show nothing new. A pack that loses much would otherwise be
// read again and again.
func (b *Balance) justRead(c *KnownCell) bool {
	return c.Rod && !c.Once && c.UnseenVar == 0 && c.LowMM == 0 && c.HighMM == 0 && c.ML == c.ReadML && b.lostSince(c)+b.leakedMM(c) < againMM
}

// doubtML returns the water that ends the doubt about a cell whose reading shows enough
// for a charge, and not enough for what the reading may be off: before the charge there
// is no other water. It lasts for one charge.
func (b *Balance) doubtML(i int) float64 {
	c := &b.know.cells[i]
	low := b.know.low[i] + b.leakedMM(c) // for what may have leaked, it is to be read
	// A doubt that was raised ends above clearMM, so up to there it needs water.
	if !c.Rod || c.Lost || c.UnseenVar > 0 || c.LowMM != 0 || c.HighMM != 0 || low > clearMM || low >= doubtMM && !b.s.Doubts.Has(i+1) {
		return 0
	}
	return b.ml(min(clearMM+spareMM-low, doubtMostMM))
}

// readDue decides, with a gap between the two ends, whether somebody must come and
// read.
func (b *Balance) readDue() {
	ahead := b.aheadMM()
	if b.s.ReadDue {
		ahead *= readAgainShare
	}
	b.s.ReadDue = false
	for i := range b.cfg.Cells {
		c := &b.know.cells[i]
		b.s.ReadDue = b.s.ReadDue || !(b.lowIn(c, ahead) > 0) && !b.justRead(c)
	}
	b.s.ReadDueH, b.s.ReadDueOK = b.readDueH()
}

// readDueH returns the hours until the bound of a cell reaches the plates.
func (b *Balance) readDueH() (hours float64, ok bool) {
	mean, days := b.use.rate()
	if days == 0 || !(mean > 0) {
		return 0, false
	}
	most := mostForecastH / day.Hours() * b.mm(mean)
	for i := range b.cfg.Cells {
		most = b.lastsMM(&b.know.cells[i], most)
	}
	return most / b.mm(mean) * day.Hours(), true
}

// lastsMM returns how much more may be lost by Faraday's law before the bound is at the
// plates, at most so much. The bound only falls, so halving finds it.
func (b *Balance) lastsMM(c *KnownCell, mostMM float64) float64 {
	if b.lowIn(c, mostMM) > 0 {
		return mostMM
	}
	low, high := 0.0, mostMM
	for range 20 {
		if mid := (low + high) / 2; b.lowIn(c, mid) > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// agoS is the age of a cell's last reading, s.
func (c *KnownCell) agoS(now time.Duration) float64 { return (now - c.readAt).Seconds() }
