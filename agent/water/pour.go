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
