package config

import (
	"fmt"

	"bayward/sensors/wiring"
)

// rtds checks the platinum thermometers of a bay.
func (c wiringCheck) rtds(field string, t *wiring.Temperature) {
	seen := map[string]bool{}
	for i := range t.RTD {
		r, at := &t.RTD[i], fmt.Sprintf("%s.rtd[%d]", field, i)
		if c.bad[at] {
			continue
		}
		c.fields(at, r)
		c.spi(at+".spi", r.SPI)
		if ohm := at + ".reference_ohm"; c.usable(ohm, at+".element") && r.ReferenceOhm <= 1.6*r.NominalOhm() {
			c.reject(ohm, say("must-be-larger-an-element-of-reaches", plain(r.NominalOhm())))
		}
		if of := at + ".of"; c.usable(of) && c.present(of) {
			c.onlyOne(of, r.Of, seen[r.Of], field+"."+r.Of)
			seen[r.Of] = true
		}
	}
}

// onlyOne: one thermometer for each temperature.
func (c wiringCheck) onlyOne(at, of string, twice bool, oneWire string) {
	switch {
	case twice:
		c.reject(at, say("must-not-be-there-twice"))
	case c.present(oneWire):
		c.reject(at, say("must-not-be-read-here-names-a", of))
	}
}

// spi checks the name of a port.
func (c wiringCheck) spi(field, v string) {
	form, text := wiredSPI, say("must-be-bus-and-chip-select-such")
	if c.simulated {
		form = simulatedSPI
	}
	if !c.missing(field, text) && !form.MatchString(v) {
		c.reject(field, text)
	}
}

// rtdUses are the port of a platinum thermometer and its lines. Nothing shares them.
func rtdUses(r *wiring.RTD, field string) []use {
	port := wiring.PlainBus(r.SPI)
	if port == "" {
		return nil
	}
	all := []use{{field, "converter of another family at", "SPI " + port, ""}}
	for _, line := range spiLines[port] {
		all = append(all, use{field, "line", line, "SPI"})
	}
	return all
}
