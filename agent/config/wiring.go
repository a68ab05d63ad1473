package config

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"bayward/sensors/wiring"
)

// cellMaxV is more than any charger gives one cell: an equalizing charge ends
// near 2.75 V (from memory).
const cellMaxV = 2.9

func (c *checker) bays(cfg *Config) {
	if len(cfg.Bays) == 0 {
		if !c.bad["bays"] {
			c.complain(c.line("bays"), "bays", "", "is missing: a list with at least one bay")
		}
		return
	}
	if len(cfg.Bays) > MaxBays {
		c.complain(c.line(fmt.Sprintf("bays[%d]", MaxBays)), "bays", fmt.Sprintf("(%d bays)", len(cfg.Bays)),
			fmt.Sprintf("must be 1 to %d bays; one more agent can look after the others", MaxBays))
		return
	}
	first := map[string]int{}
	for i := range cfg.Bays {
		c.bay(cfg, i, first)
	}
	c.dedicated(cfg.Bays)
}

func (c *checker) bay(cfg *Config, i int, first map[string]int) {
	b, field := &cfg.Bays[i], fmt.Sprintf("bays[%d]", i)
	if c.bad[field] {
		return
	}
	c.name(field+".name", b.Name)
	c.unique(field+".name", b.Name, first)
	c.charger(field+".charger", b.Charger)
	packs := c.packsOf(field, b, cfg.Packs)
	simulated := cfg.Sensors == "simulated"
	switch {
	case c.bad[field+".wiring"] || len(packs) == 0:
		return
	case simulated && !c.present(field+".wiring"):
		b.Wiring = defaultWiring(i, packs, len(b.Packs) > 0)
	case !c.missing(field+".wiring", "the parts that are connected to this bay; with sensors: simulated it may be left out"):
		for _, p := range packs { // what suits one may not suit another
			c.wiring(field+".wiring", &b.Wiring, p, simulated)
		}
	}
	c.recognition(field, b, packs, len(cfg.Bays) == 1)
	c.claimAll(field+".wiring", &b.Wiring, packs)
}

// packOf finds a bay's pack. A pack with faults of its own is not judged
// against.
func (c *checker) packOf(field, name string, packs []Pack) *Pack {
	if !c.usable(field, "packs") {
		return nil
	}
	names := make([]string, len(packs))
	for i := range packs {
		if packs[i].Name == name {
			if c.faulty(fmt.Sprintf("packs[%d]", i)) {
				return nil
			}
			return &packs[i]
		}
		names[i] = packs[i].Name
	}
	c.reject(field, "must be the name of a pack under packs: "+strings.Join(names, ", "))
	return nil
}

// faulty tells whether anything in a part was complained about.
func (c *checker) faulty(part string) bool {
	for field := range c.bad {
		if field == part || strings.HasPrefix(field, part+".") {
			return true
		}
	}
	return false
}

var (
	wiredBus     = regexp.MustCompile(`^(I2C|/dev/i2c-)?[0-9]{1,2}$`)
	simulatedBus = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,31}$`)
)

func (c *checker) wiring(field string, w *wiring.Parts, p *Pack, simulated bool) {
	c.bus(field+".i2c", w.I2C, simulated)
	if !c.absent(field, "voltage", w.Voltage != nil) {
		c.voltage(field+".voltage", w.Voltage, p)
	}
	if w.Current != nil {
		c.current(field+".current", w.Current, p)
	}
	if !c.absent(field, "temperature", w.Temperature != nil) {
		c.temperature(field+".temperature", w.Temperature)
	}
	if !c.absent(field, "level", w.Level != nil) {
		c.level(field+".level", w.Level, p)
	}
	if w.Hydrogen != nil {
		c.hydrogen(field+".hydrogen", w.Hydrogen)
	}
	if !c.absent(field, "relay", w.Relay != nil) {
		c.relay(field+".relay", w.Relay, simulated)
	}
	c.contact(field+".airflow", w.Airflow, simulated)
	c.contact(field+".charger_complete", w.Complete, simulated)
}

// absent complains about a part that no bay can do without.
func (c *checker) absent(field, part string, there bool) bool {
	if !there {
		c.missing(field+"."+part, "without it nothing could ever be granted")
	}
	return !there || c.bad[field+"."+part]
}

func (c *checker) bus(field, v string, simulated bool) {
	form, rule := wiredBus, "must be the number of an I²C bus, such as 1"
	if simulated {
		form, rule = simulatedBus, "must be a word of letters, digits, hyphens and underscores"
	}
	if !c.missing(field, rule) && !form.MatchString(v) {
		c.reject(field, rule)
	}
}

func (c *checker) input(field string, in *wiring.Input, rangeV float64) {
	if !c.missing(field+".adc", "must be 0x48 to 0x4b") && (in.ADC < 0x48 || in.ADC > 0x4b) {
		c.reject(field+".adc", "must be 0x48 to 0x4b, the addresses of an ADS1115")
	}
	c.number(field+".channel", float64(in.Channel), 0, 3, "")
	if !c.present(field + ".range_v") {
		in.RangeV = rangeV
	} else if !slices.Contains([]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256}, in.RangeV) {
		c.reject(field+".range_v", "must be 6.144, 4.096, 2.048, 1.024, 0.512 or 0.256 V")
	}
	if !c.present(field + ".rate") {
		in.Rate = 128
	} else if !slices.Contains([]int{8, 16, 32, 64, 128, 250, 475, 860}, in.Rate) {
		c.reject(field+".rate", "must be 8, 16, 32, 64, 128, 250, 475 or 860 samples a second")
	}
}

func (c *checker) voltage(field string, v *wiring.Voltage, p *Pack) {
	c.input(field, &v.Input, 4.096)
	ratio := field + ".ratio"
	rule := "must be above 1, to 1000: the sum of both resistors over the lower one"
	if c.missing(ratio, rule) {
		return
	}
	if !(v.Ratio > 1 && v.Ratio <= 1000) {
		c.reject(ratio, rule)
	}
	if c.present(field + ".offset_v") {
		c.number(field+".offset_v", v.OffsetV, -0.5, 0.5, "V at the input")
	}
	need := float64(p.Cells) * cellMaxV
	if reach := (v.TopV() - v.OffsetV) * v.Ratio; c.usable(ratio, field+".range_v", field+".offset_v") && reach <= need {
		c.reject(ratio, fmt.Sprintf("must be larger: with it the input ends at %.1f V, and %d cells can show %.1f V on charge", reach, p.Cells, need))
	}
}

func (c *checker) current(field string, v *wiring.Current, p *Pack) {
	c.word(field+".kind", &v.Kind, "", "shunt", "hall")
	rangeV := 4.096
	if v.Kind == "shunt" {
		rangeV = 0.256
	}
	c.input(field, &v.Input, rangeV)
	c.minus(field+".minus", v)
	if c.present(field + ".zero_v") {
		c.number(field+".zero_v", v.ZeroV, -v.RangeV, v.RangeV, "V, the range of the input")
	}
	scale := field + ".amperes_per_volt"
	if c.missing(scale, "amperes for one volt at the input") {
		return
	}
	if v.AmperesPerVolt == 0 || v.AmperesPerVolt < -1e6 || v.AmperesPerVolt > 1e6 {
		c.reject(scale, "must be -1000000 to 1000000 and not 0; a negative one turns the direction")
	}
	c.currentReach(field, v, p)
}

// currentReach: a charger for C-rate 1/4 is as strong as usual ones get
// (common practice, no source); its current must not over-range the input.
func (c *checker) currentReach(field string, v *wiring.Current, p *Pack) {
	scale := field + ".amperes_per_volt"
	if !c.usable(scale, field+".range_v", field+".zero_v", field+".kind") {
		return
	}
	reach := (v.TopV() - v.ZeroV) * v.AmperesPerVolt
	if v.AmperesPerVolt < 0 {
		bottom := 0.0 // a single-ended input cannot go below ground
		if v.Kind == "shunt" {
			bottom = -v.TopV()
		}
		reach = (bottom - v.ZeroV) * v.AmperesPerVolt
	}
	if need := p.CapacityAh / 4; reach < need {
		c.reject(scale, fmt.Sprintf("must be larger: the input ends at %.1f A of charge, and a pack of %s Ah may be given %.1f A", reach, plain(p.CapacityAh), need))
	}
}

func (c *checker) minus(field string, v *wiring.Current) {
	switch {
	case c.bad[field]:
	case v.Kind == "hall" && v.Minus != nil:
		c.reject(field, "must be left out for a Hall sensor, which is measured against ground")
	case v.Kind == "shunt" && v.Minus == nil:
		c.missing(field, "the channel of the other side of the shunt")
	case v.Kind == "shunt" && !slices.Contains([][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}}, [2]int{v.Channel, *v.Minus}):
		c.reject(field, "must make one of the pairs that an ADS1115 has: channel 0 with minus 1, 0 with 3, 1 with 3, 2 with 3")
	}
}

var oneWire = regexp.MustCompile(`^(10|22|28|3b|42)-[0-9a-f]{12}$`)

const oneWireRule = "must be a 1-wire number in lower case, such as 28-0316a2795bff"

// temperature leaves it to recognition whether the pack's sensor must be named.
func (c *checker) temperature(field string, t *wiring.Temperature) {
	if c.present(field+".pack") && !oneWire.MatchString(t.Pack) {
		c.reject(field+".pack", oneWireRule)
	}
	if c.present(field+".ambient") && !oneWire.MatchString(t.Ambient) {
		c.reject(field+".ambient", oneWireRule)
	}
	if c.present(field + ".offset_c") {
		c.number(field+".offset_c", t.OffsetC, -5, 5, "°C")
	}
	c.word(field+".on", &t.On, "case", "case", "electrolyte")
}

// hydrogen must be able to show the highest limit that can be set, 2 %.
func (c *checker) hydrogen(field string, a *wiring.Analog) {
	c.input(field, &a.Input, 4.096)
	if c.present(field + ".zero_v") {
		c.number(field+".zero_v", a.ZeroV, 0, a.RangeV, "V, the range of the input")
	}
	c.number(field+".per_volt", a.PerVolt, 0.01, 100, "% by volume for one volt")
	reach := (a.TopV() - a.ZeroV) * a.PerVolt
	if c.usable(field+".per_volt", field+".zero_v", field+".range_v") && reach < 2.2 {
		c.reject(field+".per_volt", fmt.Sprintf("must be larger: the input ends at %.2f %%, and charging stops at 2 %%", reach))
	}
}
