package sensors

import (
	"fmt"
	"io"
	"sync"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"bayward/sensors/converter"
)

// lastingBus is an I²C bus that outlives its adapter. A USB adapter that is pulled
// and plugged in again is a new device, and gets the old number only if no program
// still has the old device open. So a bus that failed a transfer is closed, and
// opened again for the next one.
type lastingBus struct {
	open func() (i2c.BusCloser, error)

	mu  sync.Mutex    // held over a transfer; guards the field below
	bus i2c.BusCloser // nil after it was closed
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
	if err != nil && !converter.Unacknowledged(err) {
		_ = b.bus.Close() // the transfer's error is returned
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
		return "closed bus"
	}
	return b.bus.String()
}

var _ i2c.Bus = (*lastingBus)(nil)
