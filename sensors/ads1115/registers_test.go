package ads1115

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"syscall"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// chip simulates an ADS1115 at register level, only from the data sheet: four
// registers, a conversion that takes its time and shows the input chosen when it
// started, and the faults of a real bus. It shares no table with the driver.
type chip struct {
	now     time.Duration
	stretch float64 // oscillator: true time over nominal time, 0.9 to 1.1
	reg     [4]uint16
	ends    time.Duration // of the running conversion
	running bool
	next    uint16 // result of the running conversion
	pins    [4]float64
	txs     int
	fault   map[int]fault // by number of the transfer
	dead    bool          // conversions never end
}

type fault int

const (
	nack     fault = iota + 1 // reported by the controller
	deaf                      // the address is not acknowledged and the controller does not notice
	brownOut                  // the chip is reset before this transfer
	stuck                     // the transfer times out
)

func newChip() *chip {
	c := &chip{stretch: 1, fault: map[int]fault{}}
	c.reset()
	return c
}

func (c *chip) reset() {
	c.reg = [4]uint16{0, 0x8583, 0x8000, 0x7fff} // data sheet 9.6: reset values
	c.running = false
}

func (c *chip) wait(ctx context.Context, d time.Duration) error {
	c.now += d
	return ctx.Err()
}

func (c *chip) String() string                  { return "sim" }
func (c *chip) SetSpeed(physic.Frequency) error { return nil }

// Tx is one transfer, which takes about its time at 100 kHz.
func (c *chip) Tx(addr uint16, w, r []byte) error {
	c.txs++
	c.now += time.Duration(len(w)+len(r)+2) * 90 * time.Microsecond
	switch c.fault[c.txs] {
	case nack:
		return fmt.Errorf("sysfs-i2c: %v", syscall.EREMOTEIO) //nolint:errorlint // as periph does it
	case stuck:
		return fmt.Errorf("sysfs-i2c: %v", syscall.ETIMEDOUT) //nolint:errorlint // as periph does it
	case deaf:
		for i := range r {
			r[i] = 0xff
		}
		return nil
	case brownOut:
		c.reset()
	}
	if addr != 0x48 {
		return syscall.ENXIO
	}
	c.finish()
	at := w[0] & 3
	if len(w) == 3 {
		c.store(at, binary.BigEndian.Uint16(w[1:]))
	}
	if len(r) == 2 {
		binary.BigEndian.PutUint16(r, c.load(at))
	}
	return nil
}

func (c *chip) finish() {
	if c.running && c.now >= c.ends && !c.dead {
		c.reg[0], c.running = c.next, false
	}
}

func (c *chip) load(at byte) uint16 {
	v := c.reg[at]
	continuous := v&0x0100 == 0
	if at == 1 {
		v &^= 0x8000
		if !c.running && !continuous {
			v |= 0x8000
		}
	}
	return v
}

// store writes a register. A start has effect only in power-down, and a running
// conversion continues with its old input.
func (c *chip) store(at byte, v uint16) {
	c.reg[at] = v
	if at == 1 && v&0x8000 != 0 && !c.running {
		sps := [8]float64{8, 16, 32, 64, 128, 250, 475, 860}[v>>5&7]
		c.running = true
		c.ends = c.now + time.Duration(c.stretch/sps*1e9) + 25*time.Microsecond
		c.next = c.code(v)
	}
}

// code returns the ideal output code for the pins' voltages (data sheet 9.5.4).
func (c *chip) code(config uint16) uint16 {
	pairs := [8][2]int{{0, 1}, {0, 3}, {1, 3}, {2, 3}, {0, -1}, {1, -1}, {2, -1}, {3, -1}}
	fs := [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}[config>>9&7]
	pair := pairs[config>>12&7]
	v := c.pins[pair[0]]
	if pair[1] >= 0 {
		v -= c.pins[pair[1]]
	}
	return uint16(int16(min(max(math.Round(v/fs*32768), -32768), 32767)))
}

var _ i2c.Bus = (*chip)(nil)
