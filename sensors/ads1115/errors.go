package ads1115

import (
	"errors"
	"fmt"
	"strings"
	"syscall"
)

// What can go wrong with a reading, as far as a caller acts on it differently.
// Every error of Read and Probe wraps one of these or the context's error, and
// the cause where the bus gave one.
var (
	// ErrNoAnswer: the chip does not acknowledge its address, or reads as all
	// ones, which is an undriven bus. It is unplugged, without supply, or set
	// to another address.
	ErrNoAnswer = errors.New("no answer")
	// ErrBusStuck: the transfer failed for another reason than a missing
	// acknowledge, such as a data or clock line that is held low, or an
	// adapter that is gone.
	ErrBusStuck = errors.New("bus stuck")
	// ErrNotReady: the conversion did not end within three times its nominal
	// time.
	ErrNotReady = errors.New("conversion does not end")
	// ErrOverRange: the result is the first or last code of the range, so the
	// true voltage may be any beyond it.
	ErrOverRange = errors.New("over range")
	// ErrLostConfig: the chip no longer has the configuration of this
	// conversion: its supply dipped and it was reset, or another program uses
	// it.
	ErrLostConfig = errors.New("configuration lost")
	// ErrForeign: what answers at this address does not look like this chip.
	ErrForeign = errors.New("not an ADS1115")
)

// unacknowledged are the texts of the errors with which Linux bus drivers
// report a missing acknowledge: ENXIO as in the kernel's
// Documentation/i2c/fault-codes.rst, and EREMOTEIO, which the drivers of the
// Pi's controllers (i2c-bcm2835, i2c-designware) return.
var unacknowledged = [...]string{"no such device or address", "remote I/O error"}

// classify tells a missing acknowledge from a bus that does not work. It has to
// look at the text too: periph's sysfs driver formats the kernel's error with
// %v, so that errors.Is does not find it. What is not known to be a missing
// acknowledge counts as the bus's fault: EIO is a clock held low for too long
// (i2c-bcm2835), ETIMEDOUT and EBUSY are a line that is held, EAGAIN is lost
// arbitration, ENODEV an adapter that is gone.
func classify(cause error) error {
	if Unacknowledged(cause) {
		return ErrNoAnswer
	}
	return ErrBusStuck
}

// Unacknowledged tells whether a bus's error says that no chip acknowledged its
// address: the bus itself works then.
func Unacknowledged(cause error) bool {
	text := cause.Error()
	if errno, ok := errors.AsType[syscall.Errno](cause); ok {
		text = errno.Error()
	}
	for _, nack := range unacknowledged {
		if strings.Contains(text, nack) {
			return true
		}
	}
	return false
}

// transferError wraps what the bus reported.
func transferError(doing string, cause error) error {
	return fmt.Errorf("%s: %w: %w", doing, classify(cause), cause)
}
