package config

import (
	"regexp"
	"strconv"

	"bayward/sensors/wiring"
)

// claim records who uses a line, a converter channel or a sensor.
type claim struct {
	field string
	line  int
	room  string // shared within this room; "" if only one use is allowed
}

// Bays in one room may share the sensors of that room.
const (
	roomAir      = "ambient temperature"
	roomHydrogen = "hydrogen"
	roomFan      = "airflow"
)

// use is one piece of hardware that a part takes.
type use struct {
	field string // of the part
	kind  string // such as "line"
	name  string // "" for none
	room  string // as in claim
}

// channel returns the uses of a converter channel: the channel, and the place of the
// converter, which only inputs of the same family may share.
func channel(w *wiring.Parts, in wiring.Input, field, room string) []use {
	at, kind := "converter "+in.Place(w.I2C), "adc"
	if in.SPI != "" {
		kind = "spi"
	}
	family := "ads1115"
	if f, ok := in.Family(); ok {
		family = f.Name
	}
	all := []use{{kind, "converter of another family at", in.Place(w.I2C), family}, {field, at + ", channel", strconv.Itoa(in.Channel), room}}
	for _, line := range spiLines[wiring.PlainBus(in.SPI)] {
		all = append(all, use{kind, "line", line, "SPI"})
	}
	return all
}

// spiLines are the lines that the ports of SPI take from the header (BCM2835 ARM
// Peripherals, alternative function table).
var spiLines = map[string][]string{
	"0.0": {"GPIO8", "GPIO9", "GPIO10", "GPIO11"}, "0.1": {"GPIO7", "GPIO9", "GPIO10", "GPIO11"},
	"1.0": {"GPIO18", "GPIO19", "GPIO20", "GPIO21"}, "1.1": {"GPIO17", "GPIO19", "GPIO20", "GPIO21"},
	"1.2": {"GPIO16", "GPIO19", "GPIO20", "GPIO21"},
}

// claimAll registers the hardware that the parts of a bay use, and complains about
// any that is already in use.
func (c *checker) claimAll(field string, w *wiring.Parts, packs []*Pack) {
	if w.Temperature != nil {
		c.claimPackSensor(field+".temperature.pack", w.Temperature.Pack, packs)
	}
	for _, p := range allParts {
		if !p.there(w) {
			continue
		}
		for _, u := range p.uses(w) {
			c.claimNamed(u.kind, u.name, field+"."+p.key+"."+u.field, u.room)
		}
	}
}

func (c *checker) claimNamed(kind, name, field, room string) {
	if name != "" {
		c.claim(kind+" "+name, field, room)
	}
}

func (c *checker) claim(part, field, room string) {
	if c.bad[field] {
		return
	}
	held, taken := c.claims[part]
	switch {
	case !taken:
		c.claims[part] = claim{field, c.line(field), room}
	case room == "" || room != held.room:
		c.reject(field, say("is-already-used-by-line", part, held.field, held.line))
	}
}

var (
	headerLine    = regexp.MustCompile(`^GPIO([2-9]|1[0-9]|2[0-7])$`)
	relayLine     = regexp.MustCompile(`^GPIO(9|1[0-3]|1[6-9]|2[0-7])$`)
	simulatedLine = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_-]{0,31}$`)
)

var simulatedLineRule = say("must-be-a-word-of-letters-digits")

// relay rejects lines that close a relay at boot: until a program sets them, GPIO0
// to GPIO8 are pulled up (BCM2835 ARM Peripherals, alternative function table), and
// the serial console drives GPIO14 high.
func (c wiringCheck) relay(field string, r *wiring.Relay) {
	form, rule := relayLine, say("must-be-gpio9-to-gpio13-or-gpio16")
	if c.simulated {
		form, rule = simulatedLine, simulatedLineRule
	}
	if !c.missing(field+".pin", rule) && !form.MatchString(r.Pin) {
		c.reject(field+".pin", rule)
	}
	if c.present(field+".heartbeat") && !form.MatchString(r.Heartbeat) {
		c.reject(field+".heartbeat", rule)
	}
	c.heartbeat(field, r)
	c.contact(field+".feedback", r.Feedback)
}

// airflow: a contact whose broken wire reads as moving air is no proof of a fan.
func (c wiringCheck) airflow(field string, k *wiring.Contact) {
	c.contact(field, k)
	if k.Breaks() && !c.bad[field+".normally"] {
		c.reject(field+".normally", say("must-be-open-the-broken-wire-of"))
	}
}

// heartbeat: a kernel that hangs drives the relay's line on as it was. Only a relay
// outside the Pi opens then, so its absence must be written down.
func (c wiringCheck) heartbeat(field string, r *wiring.Relay) {
	fitted, reason := field+".heartbeat", field+".no_heartbeat"
	switch {
	case c.present(fitted) && c.present(reason):
		c.reject(reason, say("must-be-left-out-beside-heartbeat"))
	case c.present(reason) && !c.bad[reason] && !placeForm.MatchString(r.NoHeartbeat):
		c.reject(reason, say("must-be-the-reason-in-words-1"))
	case !c.simulated && !c.present(reason):
		c.missing(fitted, say("the-line-of-the-watchdog-relay-such"))
	}
}

func (c wiringCheck) contact(field string, k *wiring.Contact) {
	if k == nil || c.bad[field] {
		return
	}
	form, rule := headerLine, say("must-be-gpio2-to-gpio27")
	if c.simulated {
		form, rule = simulatedLine, simulatedLineRule
	}
	if !c.missing(field+".pin", rule) && !form.MatchString(k.Pin) {
		c.reject(field+".pin", rule)
	}
	c.fields(field, k)
}
