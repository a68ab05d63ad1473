package sim

import (
	"errors"
	"fmt"
	"slices"

	"periph.io/x/conn/v3/gpio"
)

// ErrNoSensor means that no 1-wire sensor has this number.
var ErrNoSensor = errors.New("there is no such sensor")

// The methods below are for a carrier that connects the bench to a machine without
// Go's interfaces, such as an emulated board: the lines that the board drives, its
// contacts and its thermometers. I²C uses Bus as usual, one message at a time.

// Drive puts a board's level on an output line. The error wraps ErrNoPin, or means
// that the line is wired to a contact.
func (b *Bench) Drive(name string, high bool) error {
	pin, err := b.Pin(name)
	if err != nil {
		return err
	}
	return pin.Out(gpio.Level(high))
}

// Contact returns the level of a contact's line, with the necessary pull resistor
// fitted outside the board. The error wraps ErrNoPin.
func (b *Bench) Contact(name string) (high bool, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	l, ok := b.pins[name]
	if !ok || l.role == relayLine || l.role == heartbeatLine {
		return false, fmt.Errorf("contact %q: %w", name, ErrNoPin)
	}
	pulled := *l
	pulled.output, pulled.pull = false, gpio.PullUp
	return bool(pulled.level()), nil
}

// Sensors returns the numbers of all 1-wire sensors, plugged in or not, sorted.
func (b *Bench) Sensors() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	ids := make([]string, len(b.sensors))
	for i, s := range b.sensors {
		ids[i] = s.id
	}
	slices.Sort(ids)
	return ids
}

// Scratchpad returns the memory of a thermometer after a conversion now, in the
// layout of the DS18B20 data sheet (19-7487, "Memory"), damaged if that fault is
// set. A sensor that is off its bus has none. The error wraps ErrNoSensor.
func (b *Bench) Scratchpad(id string) (pad [9]byte, plugged bool, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, s := range b.sensors {
		if s.id == id {
			got, _ := s.answer()
			return got, s.plugged, nil
		}
	}
	return pad, false, fmt.Errorf("1-wire sensor %q: %w", id, ErrNoSensor)
}
