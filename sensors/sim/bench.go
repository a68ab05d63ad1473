package sim

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"sync"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"

	"bayward/sensors/wiring"
)

// Errors of a bench.
var (
	ErrNoBus = errors.New("no such bus is wired")
	ErrNoPin = errors.New("no such line is wired")
	ErrTaken = errors.New("already in use")
)

// Bench is one Pi with everything that is wired to it.
type Bench struct {
	mu      sync.Mutex // guards everything that follows, and the bays
	now     time.Duration
	busTime time.Duration // on top of now: transactions and waits
	bays    []*Bay
	names   map[string]bool
	buses   map[string]*bus
	pins    map[string]*line
	sensors []*thermometer
	silent  bool                // see SilentWire
	block   func(time.Duration) // may be nil
}

// NewBench makes an empty bench.
func NewBench() *Bench {
	return &Bench{names: map[string]bool{}, buses: map[string]*bus{}, pins: map[string]*line{}}
}

// Add wires a bay to the bench. The error wraps ErrTaken when a name, an input,
// a line or a sensor is in use. A bench that refused a bay should not be used.
func (b *Bench) Add(o Opts, w wiring.Parts) (*Bay, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	y, err := b.add(o.withDefaults(), &w)
	if err != nil {
		return nil, fmt.Errorf("bay %q: %w", o.Name, err)
	}
	return y, nil
}

func (b *Bench) add(o Opts, w *wiring.Parts) (*Bay, error) {
	if b.names[o.Name] {
		return nil, fmt.Errorf("name: %w", ErrTaken)
	}
	y, err := newBay(b, o, w)
	if err != nil {
		return nil, err
	}
	if err := errors.Join(y.wireInputs(w), y.wirePins(w), y.wireSensors(w)); err != nil {
		return nil, err
	}
	b.names[o.Name] = true
	b.bays = append(b.bays, y)
	return y, nil
}

// Bus is an I²C bus by its name in the wiring.
func (b *Bench) Bus(name string) (i2c.Bus, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	found, ok := b.buses[plainBus(name)]
	if !ok {
		return nil, fmt.Errorf("bus %q: %w", name, ErrNoBus)
	}
	return found, nil
}

// plainBus takes "1", "I2C1" and "/dev/i2c-1" for the same bus, as a Pi does.
func plainBus(name string) string {
	for _, prefix := range []string{"/dev/i2c-", "I2C"} {
		if rest, ok := strings.CutPrefix(name, prefix); ok {
			return rest
		}
	}
	return name
}

// Pin is a GPIO line by its name in the wiring.
func (b *Bench) Pin(name string) (gpio.PinIO, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	found, ok := b.pins[name]
	if !ok {
		return nil, fmt.Errorf("line %q: %w", name, ErrNoPin)
	}
	return found, nil
}

// OneWire shows the 1-wire sensors as the kernel does in /sys/bus/w1/devices.
func (b *Bench) OneWire() fs.FS { return wireFS{b} }

// Now is the time of the physics.
func (b *Bench) Now() time.Duration {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.now
}

// Wait lets converters work for d without moving the physics. It does not
// sleep. It fails only when the context has ended.
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

// clock is the time that converters work on.
func (b *Bench) clock() time.Duration { return b.now + b.busTime }
