package sim

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"sync"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/spi"

	"bayward/sensors/wiring"
)

// Errors of a bench.
var (
	ErrNoBus = errors.New("there is no such bus")
	ErrNoPin = errors.New("there is no such line")
	ErrTaken = errors.New("already in use")
)

// Bench is one Pi with everything wired to it.
type Bench struct {
	mu      sync.Mutex // guards the fields below, and the bays
	now     time.Duration
	busTime time.Duration // added to now: transactions and waits
	bays    []*Stand
	names   map[string]bool
	buses   map[string]*bus
	ports   map[string]*port
	lines   map[string]*ModbusLine
	pins    map[string]*line
	sensors []*thermometer
	silent  bool                // see SilentWire
	block   func(time.Duration) // may be nil
}

// NewBench makes an empty bench.
func NewBench() *Bench {
	return &Bench{names: map[string]bool{}, buses: map[string]*bus{}, ports: map[string]*port{}, lines: map[string]*ModbusLine{}, pins: map[string]*line{}}
}

// Add wires a bay to the bench. The error wraps ErrTaken if a name, an input, a
// line or a sensor is in use. Do not use a bench that has refused a bay.
func (b *Bench) Add(o Opts, w wiring.Parts) (*Stand, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	y, err := b.add(o.withDefaults(&w), &w)
	if err != nil {
		return nil, fmt.Errorf("bay %q: %w", o.Name, err)
	}
	return y, nil
}

func (b *Bench) add(o Opts, w *wiring.Parts) (*Stand, error) {
	if b.names[o.Name] {
		return nil, fmt.Errorf("name: %w", ErrTaken)
	}
	y, err := newBay(b, o, w)
	if err != nil {
		return nil, err
	}
	if err := errors.Join(y.wireInputs(w), y.wirePins(w), y.wireSensors(w), y.wireRegisters(w), y.wireElements(w)); err != nil {
		return nil, err
	}
	b.names[o.Name] = true
	b.bays = append(b.bays, y)
	return y, nil
}

// Bus returns an I²C bus by its name in the wiring.
func (b *Bench) Bus(name string) (i2c.Bus, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	found, ok := b.buses[wiring.PlainBus(name)]
	if !ok {
		return nil, fmt.Errorf("bus %q: %w", name, ErrNoBus)
	}
	return found, nil
}

// SPI returns an SPI port by its name in the wiring.
func (b *Bench) SPI(name string) (spi.Port, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	found, ok := b.ports[wiring.PlainBus(name)]
	if !ok {
		return nil, fmt.Errorf("SPI port %q: %w", name, ErrNoBus)
	}
	return found, nil
}

// Pin returns a GPIO line by its name in the wiring.
func (b *Bench) Pin(name string) (gpio.PinIO, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	found, ok := b.pins[name]
	if !ok {
		return nil, fmt.Errorf("line %q: %w", name, ErrNoPin)
	}
	return found, nil
}

// Input returns a GPIO line for whoever may only read it.
func (b *Bench) Input(name string) (gpio.PinIn, error) { return b.Pin(name) }

// OneWire returns the 1-wire sensors' files as in the kernel's /sys/bus/w1/devices.
func (b *Bench) OneWire() fs.FS { return wireFS{b} }

// Now returns the time of the physics.
func (b *Bench) Now() time.Duration {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.now
}

// Wait lets converters work for d without moving the physics. It does not
// sleep. It fails only if the context has ended.
func (b *Bench) Wait(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("wait for a conversion: %w", err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.busTime += max(d, 0)
	return nil
}

// Advance moves the physics by d, in steps of at most 1 s while anything moves
// fast and 10 s at rest. A negative d is ignored.
func (b *Bench) Advance(d time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if d <= 0 {
		return
	}
	b.now += d
	for _, y := range b.bays {
		y.advance(b.now)
	}
	for _, l := range b.pins {
		l.watch()
	}
}

// clock returns the converters' time.
func (b *Bench) clock() time.Duration { return b.now + b.busTime }
