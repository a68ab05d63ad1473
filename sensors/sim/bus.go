package sim

import (
	"errors"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

const (
	byteTime    = 90 * time.Microsecond // nine bits at 100 kHz
	adapterTime = time.Second           // after which the kernel gives up a transfer
	maxAddr     = 0x7f
	generalCall = 0x00
	resetByte   = 0x06
)

// The texts of the hardware bus driver's errors; it does not wrap their causes.
var (
	errNoAnswer = errors.New("sysfs-i2c: remote I/O error")
	errStuck    = errors.New("sysfs-i2c: connection timed out")
	errAddress  = errors.New("sysfs-i2c: invalid address")
	errSpeed    = errors.New("sysfs-i2c: not supported")
)

// bus is one I²C bus with its converters.
type bus struct {
	bench *Bench
	name  string
	adcs  map[uint16]*adc
	// expanders have addresses of their own.
	expanders map[uint16]*expander
}

// String returns the bus's name.
func (u *bus) String() string { return "sim-i2c-" + u.name }

// SetSpeed returns an error: it is not supported, as on a Pi.
func (u *bus) SetSpeed(physic.Frequency) error { return errSpeed }

// Tx runs one transaction.
func (u *bus) Tx(addr uint16, w, r []byte) error {
	u.bench.mu.Lock()
	defer u.bench.mu.Unlock()
	if addr > maxAddr {
		return errAddress
	}
	if len(w) == 0 && len(r) == 0 {
		return nil
	}
	if u.stuck() {
		u.bench.busTime += adapterTime
		return errStuck
	}
	u.bench.busTime += time.Duration(len(w)+len(r)+2) * byteTime
	if addr == generalCall {
		return u.callAll(w, r)
	}
	if e, ok := u.expanders[addr]; ok && !e.bay.faults[ExpanderAbsent] {
		e.write(w)
		e.read(r)
		return nil
	}
	dev, ok := u.adcs[addr]
	if !ok || dev.faulty(ADCAbsent) {
		return errNoAnswer
	}
	dev.chip.Tx(w, r)
	return nil
}

// stuck reports whether any bay holds the bus low.
func (u *bus) stuck() bool {
	for _, dev := range u.adcs {
		if dev.faulty(BusStuck) {
			return true
		}
	}
	return false
}

// callAll sends the general call, which every converter receives.
func (u *bus) callAll(w, r []byte) error {
	if len(r) > 0 || len(w) == 0 {
		return errNoAnswer
	}
	heard := false
	for _, dev := range u.adcs {
		if dev.faulty(ADCAbsent) {
			continue
		}
		heard = true
		if w[0] == resetByte {
			dev.chip.Reset()
		}
	}
	if !heard {
		return errNoAnswer
	}
	return nil
}

var _ i2c.Bus = &bus{}
