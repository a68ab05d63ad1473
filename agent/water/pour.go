package water

// pour adds water to a cell, less what was drawn off, as a height. Between the plates
// it rises by more; that raises only the upper bound.
func (c *KnownCell) pour(mm, share float64) {
	if under := max(-c.LevelMM, 0); mm > 0 && under > 0 {
		c.span(min(under*(1-leastFree), mm*(1/leastFree-1)))
	}
	c.LevelMM = min(max(c.LevelMM+mm, -mostMM), mostMM)
	before := c.Var
	c.Var = min(c.Var+square(share*mm), lostSD*lostSD)
	if mm > 0 {
		c.UnseenMM, c.UnseenVar = min(c.UnseenMM+mm, mostMM), c.UnseenVar+c.Var-before
	}
}

// span widens the estimate to both sides of a doubtful millimetre or more.
func (c *KnownCell) span(byMM float64) {
	c.LowMM = max(c.LowMM+min(byMM, 0), -mostMM)
	c.HighMM = min(c.HighMM+max(byMM, 0), mostMM)
}

const (
	// creditMM is by how much a cell that was filled to the mark counts as higher before
	// anybody has read it, if the mark before that was shown by a reading: less than what
	// the bound allows for a reading, so that one false mark bares no plate. vouchMM is how
	// far below a mark a reading may be to show it: the eye, and the rod (markSD, rodSD).
	creditMM, vouchMM = 2.5, 2.0
)

// mark takes that a cell was filled to the mark. Whoever passes a cell over records that
// as well, so it is recorded water, of an amount that was worked out.
func (c *KnownCell) mark(mm float64) {
	off := mm - c.LevelMM
	more := max(markSD*markSD-c.Var, 0)
	c.span(max(-off, 0)) // it may be as high as it was taken for
	c.Cov *= markSD * markSD / (c.Var + markSD*markSD)
	c.LevelMM, c.Var, c.Eye = mm, c.Var+more, true
	if c.Vouched {
		off -= creditMM
	}
	c.Vouched = false
	c.UnseenMM, c.UnseenVar = min(max(c.UnseenMM+off, 0), mostMM), c.UnseenVar+more
}

// vouch takes whether a measurement shows the mark that the cell was filled to, if it was.
func (c *KnownCell) vouch(shown bool) {
	if c.Eye {
		c.Eye, c.Vouched = false, shown
	}
}
