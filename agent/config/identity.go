package config

import (
	"fmt"
	"regexp"
	"strings"

	"bayward/agent/reading"
	"bayward/sensors/wiring"
)

// maxBayPacks bounds the packs of one bay. It is more than one charger can serve in
// a week.
const maxBayPacks = 64

// Recognises reports whether a bay with several packs identifies the plugged-in pack
// by itself, from the sensor that each pack carries. If the sensor stays in the bay,
// a person names the pack instead.
func (b *Bay) Recognises() bool {
	return len(b.Packs) > 0 && b.Wiring.Temperature != nil && b.Wiring.Temperature.Pack == "" && b.Wiring.Temperature.RTDOf("pack") == nil && b.Wiring.Register(reading.PackTemperature) == nil
}

// Serves lists the names of the packs that the bay may charge.
func (b *Bay) Serves() []string {
	if len(b.Packs) > 0 {
		return b.Packs
	}
	return []string{b.Pack}
}

// packsOf finds the packs of a bay. It returns none if any of them has a fault.
func (c bayCheck) packsOf(field string, b *Bay) []*Pack {
	one, several := field+".pack", field+".packs"
	if !c.present(several) {
		if c.missing(one, say("the-name-of-a-pack-under-packs")) {
			return nil
		}
		if p := c.packOf(one, b.Pack); p != nil {
			return []*Pack{p}
		}
		return nil
	}
	switch {
	case c.present(one):
		c.reject(several, say("must-be-left-out-where-pack-names"))
	case len(b.Packs) == 0 || len(b.Packs) > maxBayPacks:
		c.texts[several] = fmt.Sprintf("(%d packs)", len(b.Packs))
		c.reject(several, say("must-be-1-to-names-of-packs", maxBayPacks))
	}
	if !c.usable(one, several) {
		return nil
	}
	return c.listed(several, b.Packs)
}

func (c bayCheck) listed(field string, names []string) []*Pack {
	var out []*Pack
	first := map[string]int{}
	for i, name := range names {
		entry := fmt.Sprintf("%s[%d]", field, i)
		c.unique(entry, name, first)
		p := c.packOf(entry, name)
		switch {
		case p == nil || c.bad[entry]:
			return nil
		case len(out) > 0 && p.Cells != out[0].Cells:
			c.reject(entry, say("must-have-cells-as-pack-not-the", out[0].Cells, out[0].Name, p.Cells))
			return nil
		}
		out = append(out, p)
	}
	return out
}

var busMaster = regexp.MustCompile(`^w1_bus_master[0-9]{1,2}$`)

// recognition checks which sensor gives a bay its pack's temperature and name. On a
// bus that several bays share, a sensor number shows that the pack is at one of them
// but not which one. A bay that recognises packs therefore needs its own bus.
func (c bayCheck) recognition(field string, b *Bay, packs []*Pack, alone bool) {
	t := b.Wiring.Temperature
	at := field + ".wiring.temperature"
	if t == nil || c.bad[field+".wiring"] || c.bad[at] {
		return
	}
	if b.Wiring.Register(reading.PackTemperature) != nil || t.RTDOf("pack") != nil {
		return // refused beside a 1-wire sensor, see registers and rtds
	}
	if len(b.Packs) == 0 {
		c.dedicatedSensor(at, t, packs[0])
		return
	}
	if t.Pack != "" {
		if c.present(at + ".bus") {
			c.reject(at+".bus", say("must-be-left-out-where-pack-names-2"))
		}
		return
	}
	for _, p := range packs {
		if p.Sensor == "" {
			c.missing(at+".pack", say("pack-has-no-sensor-of-its-own", p.Name))
			return
		}
	}
	c.ownBus(at+".bus", t.Bus, alone)
}

func (c bayCheck) ownBus(field, bus string, alone bool) {
	rule := say("must-be-the-1-wire-bus-that")
	switch {
	case bus == "":
		if !alone {
			c.missing(field, say("must-be-the-1-wire-bus-that-2"))
		}
	case !busMaster.MatchString(bus):
		c.reject(field, rule)
	default:
		c.claimNamed("1-wire bus", bus, field, "")
	}
}

// dedicatedSensor uses the sensor number of the pack for the bay.
func (c bayCheck) dedicatedSensor(at string, t *wiring.Temperature, p *Pack) {
	if c.present(at + ".bus") {
		c.reject(at+".bus", say("must-be-left-out-for-a-bay"))
	}
	switch {
	case p.Sensor == "":
		if t.Pack == "" {
			c.missing(at+".pack", oneWireRule)
		}
	case t.Pack == "":
		t.Pack = p.Sensor
	case t.Pack != p.Sensor && c.present(at+".pack"):
		c.reject(at+".pack", say("must-be-the-sensor-of-pack-or", p.Sensor, p.Name))
	}
}

// claimPackSensor claims the sensor of a bay. The pack itself has already claimed
// the sensor of a bay's only pack.
func (c *checker) claimPackSensor(field, number string, packs []*Pack) {
	kind := "1-wire sensor"
	if len(packs) == 1 && number == packs[0].Sensor {
		kind = "the pack's own 1-wire sensor"
	}
	c.claimNamed(kind, number, field, "")
}

// dedicated checks that no other bay lists a pack that belongs to one bay.
func (c bayCheck) dedicated() {
	bays := c.cfg.Bays
	owner := map[string]int{}
	for i := range bays {
		if name := bays[i].Pack; name != "" && len(bays[i].Packs) == 0 {
			owner[name] = i
		}
	}
	for i := range bays {
		for j, name := range bays[i].Packs {
			if k, taken := owner[name]; taken {
				c.reject(fmt.Sprintf("bays[%d].packs[%d]", i, j), say("must-not-be-the-pack-that-bays", k, c.line(fmt.Sprintf("bays[%d].pack", k))))
			}
		}
	}
}

// PackList lists the packs of the bay for a reader.
func (b *Bay) PackList() string { return strings.Join(b.Serves(), ", ") }
