package sensors

import (
	"fmt"
	"io"
	"sync"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"bayward/sensors/ads1115"
)

// lastingBus is an I²C bus that outlives its adapter. One on USB that was pulled
// is another one when it is plugged in again, and the kernel gives its number
// away only when nobody has the old one open any more. So a bus that did not
// carry a transfer is let go, and opened anew for the next one.
type lastingBus struct {
	open func() (i2c.BusCloser, error)

	mu  sync.Mutex    // held over a transfer; guards what follows
	bus i2c.BusCloser // nil: it was let go
}

// openLasting opens a bus for the first time. The error is that of open.
func openLasting(open func() (i2c.BusCloser, error)) (*lastingBus, error) {
	bus, err := open()
	if err != nil {
		return nil, err
	}
	return &lastingBus{open: open, bus: bus}, nil
}

// Tx implements i2c.Bus.
func (b *lastingBus) Tx(addr uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.bus == nil {
		bus, err := b.open()
		if err != nil {
			return fmt.Errorf("open the bus again: %w", err)
		}
		b.bus = bus
	}
	err := b.bus.Tx(addr, w, r)
	if err != nil && !ads1115.Unacknowledged(err) {
		_ = b.bus.Close() // what failed is told already
		b.bus = nil
	}
	return err
}

// SetSpeed implements i2c.Bus.
func (b *lastingBus) SetSpeed(f physic.Frequency) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.bus == nil {
		return fmt.Errorf("set the speed: %w", io.ErrClosedPipe)
	}
	return b.bus.SetSpeed(f)
}

// String names the bus.
func (b *lastingBus) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.bus == nil {
		return "bus that is gone"
	}
	return b.bus.String()
}

var _ i2c.Bus = (*lastingBus)(nil)
