package config

import (
	"fmt"

	"bayward/agent/water"
)

// electrolyteMLPerAh is the default amount of electrolyte in one cell. By
// Faraday's law a discharge takes 3.66 g of sulfuric acid per ampere-hour. If
// all of it may go until the gravity fell from 1.28 (0.48 g of acid in a
// millilitre) to 1.09 (0.14 g; both densities from memory), 10 to 11 ml are
// needed for each ampere-hour. More electrolyte expands by more, so a figure
// that is too high only keeps a top-up further from the bottom of the vent well.
const electrolyteMLPerAh = 10

func (c *checker) packs(packs []Pack) {
	if len(packs) == 0 {
		if !c.bad["packs"] {
			c.complain(c.line("packs"), "packs", "", "is missing: a list with at least one pack")
		}
		return
	}
	first := map[string]int{}
	for i := range packs {
		field := fmt.Sprintf("packs[%d]", i)
		c.name(field+".name", packs[i].Name)
		c.unique(field+".name", packs[i].Name, first)
		c.pack(field, &packs[i])
		c.packSensor(field+".sensor", &packs[i])
	}
}

func (c *checker) packSensor(field string, p *Pack) {
	switch {
	case !c.present(field):
	case !oneWire.MatchString(p.Sensor):
		c.reject(field, oneWireRule)
	default:
		c.claimNamed("1-wire sensor", p.Sensor, field, "")
	}
}

func (c *checker) unique(field, name string, first map[string]int) {
	if name == "" || c.bad[field] {
		return
	}
	if line, taken := first[name]; taken {
		c.reject(field, fmt.Sprintf("must be unlike the other names; line %d has it already", line))
		return
	}
	first[name] = c.line(field)
}

func (c *checker) pack(field string, p *Pack) {
	if c.bad[field] {
		return
	}
	c.number(field+".cells", float64(p.Cells), 1, water.MaxCells, "cells of 2 V")
	c.number(field+".capacity_ah", p.CapacityAh, 1, 2000, "Ah")
	c.option(field+".rate_hours", &p.RateHours, 20, 1, 100, "h")
	c.number(field+".full_gravity", p.FullGravity, 1.2, 1.35, "as specific gravity at 25 °C, such as 1.277")
	c.option(field+".electrolyte_ml", &p.ElectrolyteML, electrolyteMLPerAh*p.CapacityAh, 10, 100000, "ml in one cell")
	// 1.15 is usual for vented traction cells without acid circulation (from memory).
	c.option(field+".charge_factor", &p.ChargeFactor, 1.15, 1.02, 1.30, "ampere-hours back over ampere-hours out")
	c.number(field+".free_surface_cm2", p.FreeSurfaceCM2, 1, 5000, "cm² in one cell")
	c.heights(field, p)
}

// heights holds plate tops < lowest level for charging < fill mark < bottom of the vent well.
func (c *checker) heights(field string, p *Pack) {
	charge, mark, well := field+".charge_level_mm", field+".fill_mark_mm", field+".vent_well_mm"
	c.number(charge, p.ChargeLevelMM, 0.5, 100, "mm above the plate tops; at 0 the plates count as bare")
	c.number(mark, p.FillMarkMM, 1, 200, "mm above the plate tops")
	c.number(well, p.VentWellMM, 2, 300, "mm above the plate tops")
	if c.usable(charge, mark) && p.ChargeLevelMM >= p.FillMarkMM {
		c.reject(charge, fmt.Sprintf("must be below fill_mark_mm (%s)", plain(p.FillMarkMM)))
	}
	if c.usable(mark, well) && p.FillMarkMM >= p.VentWellMM {
		c.reject(mark, fmt.Sprintf("must be below vent_well_mm (%s): water above it leaves through the vents", plain(p.VentWellMM)))
	}
}
