package config

import (
	"fmt"
	"strings"
)

// bayCheck checks the bays and the packs that each may have.
type bayCheck struct {
	*checker
	cfg *Config
}

func (c bayCheck) bays() {
	cfg := c.cfg
	if len(cfg.Bays) == 0 {
		if !c.bad["bays"] {
			c.complain(c.line("bays"), "bays", "", say("is-missing-a-list-with-at-least"))
		}
		return
	}
	if len(cfg.Bays) > MaxBays {
		c.complain(c.line(fmt.Sprintf("bays[%d]", MaxBays)), "bays", fmt.Sprintf("(%d)", len(cfg.Bays)),
			say("must-be-1-to-bays-one-more", MaxBays))
		return
	}
	first := map[string]int{}
	for i := range cfg.Bays {
		c.bay(i, first)
	}
	c.dedicated()
}

func (c bayCheck) bay(i int, first map[string]int) {
	cfg := c.cfg
	b, field := &cfg.Bays[i], fmt.Sprintf("bays[%d]", i)
	if c.bad[field] {
		return
	}
	c.name(field+".name", b.Name)
	c.unique(field+".name", b.Name, first)
	c.charger(field+".charger", b.Charger)
	packs := c.packsOf(field, b)
	simulated := cfg.Sensors == "simulated"
	switch {
	case c.bad[field+".wiring"] || len(packs) == 0:
		return
	case simulated && !c.present(field+".wiring"):
		b.Wiring = defaultWiring(i, packs, len(b.Packs) > 0)
	case !c.missing(field+".wiring", say("the-parts-that-are-connected-to-this")):
		for _, p := range packs { // a value that suits one pack may not suit another
			wiringCheck{c.checker, p, simulated, cfg.Modbus}.parts(field+".wiring", &b.Wiring)
		}
	}
	c.recognition(field, b, packs, len(cfg.Bays) == 1)
	c.claimAll(field+".wiring", &b.Wiring, packs)
}

// packOf finds a bay's pack. It returns nil for a pack with faults of its own: the
// bay is not checked against it.
func (c bayCheck) packOf(field, name string) *Pack {
	packs := c.cfg.Packs
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
	c.reject(field, say("must-be-the-name-of-a-pack", strings.Join(names, ", ")))
	return nil
}
