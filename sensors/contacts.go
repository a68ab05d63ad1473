package sensors

import (
	"context"
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"

	"bayward/agent/bay"
	"bayward/agent/reading"
	"bayward/sensors/wiring"
)

// contacts samples a bay's contact inputs.
type contacts struct {
	now    func() time.Duration
	inputs []contact
}

// contact is one input line.
type contact struct {
	level  func() (gpio.Level, error)
	trueAt gpio.Level // the level at which what the contact shows is so
	sensor reading.Sensor
	teller teller
}

// newContact makes the line an input. Its pull resistor makes a broken wire read
// as an open contact.
func newContact(pin gpio.PinIn, c *wiring.Contact, sensor reading.Sensor, t teller) (contact, error) {
	pull, closedAt := gpio.PullDown, gpio.High
	if c.ActiveLow {
		pull, closedAt = gpio.PullUp, gpio.Low
	}
	if err := pin.In(pull, gpio.NoEdge); err != nil {
		return contact{}, fmt.Errorf("make it an input with %s: %w", pull, taken(err))
	}
	trueAt := closedAt
	if c.Breaks() {
		trueAt = !closedAt
	}
	return contact{levelOf(pin), trueAt, sensor, t}, nil
}

// levelOf returns how to read a line. A line of the character device can report a
// failed read; simulated ones cannot fail.
func levelOf(pin gpio.PinIn) func() (gpio.Level, error) {
	if l, ok := pin.(interface{ Level() (gpio.Level, error) }); ok {
		return l.Level
	}
	return func() (gpio.Level, error) { return pin.Read(), nil }
}

// Name returns "contacts".
func (c *contacts) Name() string { return "contacts" }

// Sample reads each line: 1 means that the contactor is closed, air moves or the
// charge is complete, 0 that it is not. A line that cannot be read is a fault, never
// a level: low can mean closed.
func (c *contacts) Sample(_ context.Context, out *bay.Readings) {
	for i := range c.inputs {
		in, value := &c.inputs[i], 0.0
		at := c.now()
		level, err := in.level()
		fault := faultOf(err)
		in.teller.tell(err, fault, at)
		switch {
		case err != nil:
			*out.Place(in.sensor) = reading.Bad(fault, at)
			continue
		case level == in.trueAt:
			value = 1
		}
		*out.Place(in.sensor) = reading.Good(value, at)
	}
}
