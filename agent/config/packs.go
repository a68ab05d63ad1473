package config

import (
	"fmt"
	"strconv"
	"strings"
)

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
			c.complain(c.line("packs"), "packs", "", say("is-missing-a-list-with-at-least-2"))
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
		c.reject(field, say("must-be-unlike-the-other-names-line", line))
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
	c.layout(field, p)
	c.plate(field, &p.Plate)
	if probe := field + ".probe_cell"; c.usable(probe, field+".cells") && p.ProbeCell > p.Cells {
		c.reject(probe, say("must-be-1-to-the-cells-of", p.Cells))
	}
}

// heights requires plate tops < lowest level for charging < fill mark < bottom of
// the vent well.
func (c packCheck) heights(field string, p *Pack) {
	charge, mark, well := field+".charge_level_mm", field+".fill_mark_mm", field+".vent_well_mm"
	if c.usable(charge, mark) && p.ChargeLevelMM >= p.FillMarkMM {
		c.reject(charge, say("must-be-below-fill-mark-mm", plain(p.FillMarkMM)))
	}
	if c.usable(mark, well) && p.FillMarkMM >= p.VentWellMM {
		c.reject(mark, say("must-be-below-vent-well-mm-water", plain(p.VentWellMM)))
	}
}

// mostAcross is the longest row of cells that a phone can show.
const mostAcross = 12

// Rows returns the layout as numbers of cells, 0 for a gap; nil without a layout. It is
// false for one that does not have each cell of the pack once.
func (p *Pack) Rows() (rows [][]int, ok bool) {
	seen := make([]bool, p.Cells+1)
	count := 0
	for _, line := range p.Layout {
		var row []int
		for _, word := range strings.Fields(line) {
			n, err := strconv.Atoi(word)
			switch {
			case word == ".":
			case err != nil, n < 1, n > p.Cells, seen[n]:
				return nil, false
			default:
				seen[n] = true
				count++
			}
			row = append(row, n)
		}
		if len(row) > mostAcross || len(rows) > 0 && len(row) != len(rows[0]) {
			return nil, false
		}
		rows = append(rows, row)
	}
	return rows, count == p.Cells || len(p.Layout) == 0
}

// layout requires each cell once, in rows of one length.
func (c packCheck) layout(field string, p *Pack) {
	at := field + ".layout"
	if !c.present(at) || c.bad[at] || !c.usable(field+".cells") {
		return
	}
	if _, ok := p.Rows(); !ok {
		c.reject(at, say("layout", p.Cells, mostAcross))
	}
}
