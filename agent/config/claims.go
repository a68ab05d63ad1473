package config

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

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

// channel returns the use of a converter channel.
func channel(w *wiring.Parts, in wiring.Input, field, room string) use {
	return use{field, fmt.Sprintf("converter 0x%x on bus %s, channel", uint16(in.ADC), busName(w.I2C)), strconv.Itoa(in.Channel), room}
}

// claimAll registers the hardware that the parts of a bay use, and complains about
// any that is already in use.
func (c *checker) claimAll(field string, w *wiring.Parts, packs []*Pack) {
	if w.Temperature != nil {
		c.claimPackSensor(field+".temperature.pack", w.Temperature.Pack, packs)
	}
	for _, p := range parts {
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
		c.reject(field, fmt.Sprintf("%s is already used by %s (line %d)", part, held.field, held.line))
	}
}

// busName returns one name for all spellings of a bus.
func busName(s string) string {
	s = strings.TrimPrefix(strings.TrimPrefix(s, "/dev/i2c-"), "I2C")
	if n, err := strconv.Atoi(s); err == nil {
		return strconv.Itoa(n)
	}
	return s
}

var (
	headerLine    = regexp.MustCompile(`^GPIO([2-9]|1[0-9]|2[0-7])$`)
	relayLine     = regexp.MustCompile(`^GPIO(9|1[0-3]|1[6-9]|2[0-7])$`)
	simulatedLine = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_-]{0,31}$`)
)

const simulatedLineRule = "must be a word of letters, digits, hyphens and underscores"

// relay rejects lines that close a relay at boot: until a program sets them, GPIO0
// to GPIO8 are pulled up (BCM2835 ARM Peripherals, alternative function table), and
// the serial console drives GPIO14 high.
func (c wiringCheck) relay(field string, r *wiring.Relay) {
	form, rule := relayLine, "must be GPIO9 to GPIO13 or GPIO16 to GPIO27: the other lines are high while a Pi starts, which would close the relay"
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
		c.reject(field+".normally", "must be open: the broken wire of a break contact would read as moving air; wire the switch's make contact")
	}
}

// heartbeat: a kernel that hangs drives the relay's line on as it was. Only a relay
// outside the Pi opens then, so its absence must be written down.
func (c wiringCheck) heartbeat(field string, r *wiring.Relay) {
	fitted, reason := field+".heartbeat", field+".no_heartbeat"
	switch {
	case c.present(fitted) && c.present(reason):
		c.reject(reason, "must be left out beside heartbeat")
	case c.present(reason) && !c.bad[reason] && !placeForm.MatchString(r.NoHeartbeat):
		c.reject(reason, "must be the reason in words, 1 to 200 printable characters")
	case !c.simulated && !c.present(reason):
		c.missing(fitted, "the line of the watchdog relay, such as GPIO27; where none is fitted, leave heartbeat out and give the reason in words as no_heartbeat")
	}
}

func (c wiringCheck) contact(field string, k *wiring.Contact) {
	if k == nil || c.bad[field] {
		return
	}
	form, rule := headerLine, "must be GPIO2 to GPIO27"
	if c.simulated {
		form, rule = simulatedLine, simulatedLineRule
	}
	if !c.missing(field+".pin", rule) && !form.MatchString(k.Pin) {
		c.reject(field+".pin", rule)
	}
	c.fields(field, k)
}
