package water

// Bounds returns the careful bounds of the level when it was stored.
func (c *KnownCell) Bounds() (lowMM, highMM float64) { return c.lowAfter(0), c.highAfter(0) }
