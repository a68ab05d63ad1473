package sensors

import (
	"context"
	"fmt"
	"time"

	"periph.io/x/conn/v3/gpio"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/reading"
)

// contacts samples a bay's contact inputs.
type contacts struct {
	now    func() time.Duration
	inputs []contact
}

// contact is one input line.
type contact struct {
	pin       gpio.PinIn
	closedAt  gpio.Level // the level that means closed
	contactIs func(*bay.Readings) *reading.Reading
}

// newContact makes the line an input. The pull resistor is such that a broken
// wire reads as an open contact.
func newContact(pin gpio.PinIn, c *config.Contact, field func(*bay.Readings) *reading.Reading) (contact, error) {
	pull, closedAt := gpio.PullDown, gpio.High
	if c.ActiveLow {
		pull, closedAt = gpio.PullUp, gpio.Low
	}
	if err := pin.In(pull, gpio.NoEdge); err != nil {
		return contact{}, fmt.Errorf("make it an input with %s: %w", pull, taken(err))
	}
	return contact{pin, closedAt, field}, nil
}

// Name is "contacts".
func (c *contacts) Name() string { return "contacts" }

// Sample reads each line: 1 is closed, 0 is open. A line that was opened has no
// way to fail that could be seen.
func (c *contacts) Sample(_ context.Context, out *bay.Readings) {
	for i := range c.inputs {
		in, value := &c.inputs[i], 0.0
		at := c.now()
		if in.pin.Read() == in.closedAt {
			value = 1
		}
		*in.contactIs(out) = reading.Good(value, at)
	}
}

func airflow(r *bay.Readings) *reading.Reading         { return &r.Airflow }
func contactorClosed(r *bay.Readings) *reading.Reading { return &r.ContactorClosed }
func chargerComplete(r *bay.Readings) *reading.Reading { return &r.ChargerComplete }
