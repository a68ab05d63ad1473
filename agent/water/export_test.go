package water

// Bounds returns the careful bounds of the level when it was stored.
func (c *KnownCell) Bounds() (lowMM, highMM float64) { return c.lowAfter(0), c.highAfter(0) }

// AheadCell is a cell of a forecast: where it is, how fast it loses water over the pilot,
// and the standard error of each.
type AheadCell struct{ MM, SD, Use, UseSD float64 }

// Above returns how likely all cells are above a limit when the pilot has lost so much.
func Above(limitMM, lostMM float64, cells ...AheadCell) float64 {
	p := &passage{limitMM: limitMM}
	for _, c := range cells {
		p.add(cellAhead{mm: c.MM, sd: c.SD, use: c.Use, useSD: c.UseSD})
	}
	return p.above(lostMM)
}
