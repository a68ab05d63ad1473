package config

import "fmt"

// electrolyteMLPerAh is the default amount of electrolyte in one cell. By Faraday's
// law a discharge takes 3.66 g of sulfuric acid per ampere-hour; over the fall of
// gravity that DOE-HDBK-1084-95 gives, 1.280 to 1.140, that is 13.7 ml. Many packs have
// less. More electrolyte expands by more, so a figure that is too high only keeps a
// top-up further from the bottom of the vent well.
const electrolyteMLPerAh = 14

// packCheck checks the packs.
type packCheck struct{ *checker }

func (c packCheck) packs(packs []Pack) {
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

func (c packCheck) packSensor(field string, p *Pack) {
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

func (c packCheck) pack(field string, p *Pack) {
	if c.bad[field] {
		return
	}
	c.fields(field, p)
	if !c.present(field + ".electrolyte_ml") {
		p.ElectrolyteML = electrolyteMLPerAh * p.CapacityAh
	}
	c.heights(field, p)
	if probe := field + ".probe_cell"; c.usable(probe, field+".cells") && p.ProbeCell > p.Cells {
		c.reject(probe, fmt.Sprintf("must be 1 to %d, the cells of the pack", p.Cells))
	}
}

// heights requires plate tops < lowest level for charging < fill mark < bottom of
// the vent well.
func (c packCheck) heights(field string, p *Pack) {
	charge, mark, well := field+".charge_level_mm", field+".fill_mark_mm", field+".vent_well_mm"
	if c.usable(charge, mark) && p.ChargeLevelMM >= p.FillMarkMM {
		c.reject(charge, fmt.Sprintf("must be below fill_mark_mm (%s)", plain(p.FillMarkMM)))
	}
	if c.usable(mark, well) && p.FillMarkMM >= p.VentWellMM {
		c.reject(mark, fmt.Sprintf("must be below vent_well_mm (%s): water above it leaves through the vents", plain(p.VentWellMM)))
	}
}
