package config

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"bayward/sensors/wiring"
)

// claim is who uses a line, a converter channel or a sensor.
type claim struct {
	field string
	line  int
	room  string // what one room may have in common; "" for what belongs to one use only
}

// The bays of one room may share what measures the room.
const (
	roomAir      = "ambient temperature"
	roomHydrogen = "hydrogen"
	roomFan      = "airflow"
)

// claimAll registers every part of a bay and complains about a part that
// something else uses already.
func (c *checker) claimAll(field string, w *wiring.Parts, packs []*Pack) {
	bus := busName(w.I2C)
	channel := func(part string, in *wiring.Input, number int, room string) {
		c.claim(fmt.Sprintf("converter 0x%x on bus %s, channel %d", uint16(in.ADC), bus, number), field+"."+part, room)
	}
	if w.Voltage != nil {
		channel("voltage.channel", &w.Voltage.Input, w.Voltage.Channel, "")
	}
	if w.Current != nil {
		channel("current.channel", &w.Current.Input, w.Current.Channel, "")
		if w.Current.Minus != nil && *w.Current.Minus != w.Current.Channel {
			channel("current.minus", &w.Current.Input, *w.Current.Minus, "")
		}
	}
	if w.Level != nil {
		channel("level.channel", &w.Level.Input, w.Level.Channel, "")
	}
	if w.Hydrogen != nil {
		channel("hydrogen.channel", &w.Hydrogen.Input, w.Hydrogen.Channel, roomHydrogen)
	}
	if w.Temperature != nil {
		c.claimPackSensor(field+".temperature.pack", w.Temperature.Pack, packs)
		c.claimNamed("1-wire sensor", w.Temperature.Ambient, field+".temperature.ambient", roomAir)
	}
	c.claimLines(field, w)
}

func (c *checker) claimLines(field string, w *wiring.Parts) {
	if w.Relay != nil {
		c.claimNamed("line", w.Relay.Pin, field+".relay.pin", "")
		c.claimNamed("line", w.Relay.Heartbeat, field+".relay.heartbeat", "")
		if w.Relay.Feedback != nil {
			c.claimNamed("line", w.Relay.Feedback.Pin, field+".relay.feedback.pin", "")
		}
	}
	if w.Airflow != nil {
		// A shared contact has one meaning.
		c.claimNamed("line", w.Airflow.Pin, field+".airflow.pin", fmt.Sprintf("%s, active_low %v", roomFan, w.Airflow.ActiveLow))
	}
	if w.Complete != nil {
		c.claimNamed("line", w.Complete.Pin, field+".charger_complete.pin", "")
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

// busName makes one name of the ways in which a bus can be written.
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

// relay: until a program sets them, GPIO0 to GPIO8 are pulled up (BCM2835 ARM
// Peripherals, alternative function table) and the serial console drives
// GPIO14 high: a relay there would close at every boot.
func (c *checker) relay(field string, r *wiring.Relay, simulated bool) {
	form, rule := relayLine, "must be GPIO9 to GPIO13 or GPIO16 to GPIO27: the other lines are high while a Pi starts, which would close the relay"
	if simulated {
		form, rule = simulatedLine, simulatedLineRule
	}
	if !c.missing(field+".pin", rule) && !form.MatchString(r.Pin) {
		c.reject(field+".pin", rule)
	}
	if c.present(field+".heartbeat") && !form.MatchString(r.Heartbeat) {
		c.reject(field+".heartbeat", rule)
	}
	c.contact(field+".feedback", r.Feedback, simulated)
}

func (c *checker) contact(field string, k *wiring.Contact, simulated bool) {
	if k == nil || c.bad[field] {
		return
	}
	form, rule := headerLine, "must be GPIO2 to GPIO27"
	if simulated {
		form, rule = simulatedLine, simulatedLineRule
	}
	if !c.missing(field+".pin", rule) && !form.MatchString(k.Pin) {
		c.reject(field+".pin", rule)
	}
}
