package metrics

import (
	"strconv"

	"bayward/agent/bay"
	"bayward/agent/water"
)

// jug adds up what the cells of one bay were given. A picture has only the open
// visit.
type jug struct {
	visitML [water.MaxCells]float64 // of the visit as last seen
	totalML [water.MaxCells]float64 // since the agent started
}

// pour counts what is new in the open visit. What a visit already contained when
// the agent started was counted by the previous run. The caller holds mu.
func (c *Collector) pour(p *bay.Picture) {
	j := c.jugs[p.Bay]
	if j == nil {
		c.jugs[p.Bay] = &jug{visitML: p.Visit.GivenML}
		return
	}
	for i, ml := range p.Visit.GivenML {
		if ml > j.visitML[i] {
			j.totalML[i] += ml - j.visitML[i]
		}
	}
	j.visitML = p.Visit.GivenML
}

// watered shows every cell from the start: a counter that first appears with its
// first fill would hide that fill from a rate.
func (c *Collector) watered(out sink, p *bay.Picture) {
	c.mu.Lock()
	defer c.mu.Unlock()
	j := c.jugs[p.Bay]
	if j == nil {
		return
	}
	for i := range min(p.Pack.Cells, water.MaxCells) {
		out(given, labels{p.Bay, strconv.Itoa(i + 1)}, j.totalML[i]/mlPerLiter)
	}
}
