package converter

import (
	"errors"
	"fmt"
	"strings"
	"syscall"
)

// The errors of a reading that a caller may handle differently. Every error of a
// converter wraps one of these or the context's error, and the bus's own error if
// there is one.
var (
	// ErrNoAnswer: the chip does not acknowledge its address, or reads as all
	// ones, as an undriven bus does. It is unplugged, without supply, or set to
	// another address.
	ErrNoAnswer = errors.New("no answer")
	// ErrBusStuck: the transfer failed for a reason other than a missing
	// acknowledge, such as a data or clock line held low, or an adapter that is
	// gone.
	ErrBusStuck = errors.New("bus stuck")
	// ErrNotReady: the conversion did not end within three times its nominal
	// time.
	ErrNotReady = errors.New("conversion does not end")
	// ErrOverRange: the result is the first or last code of the range, so the
	// true value may be anywhere beyond it.
	ErrOverRange = errors.New("over range")
	// ErrLostConfig: the chip no longer has the configuration of this
	// conversion: its supply dipped and it was reset, or another program uses
	// it.
	ErrLostConfig = errors.New("configuration lost")
	// ErrForeign: the chip that answers is not of this kind.
	ErrForeign = errors.New("another chip answers")
	// ErrCorrupted: the answer was damaged on the wire.
	ErrCorrupted = errors.New("answer corrupted")
)

// unacknowledged are the texts of the errors with which Linux bus drivers
// report a missing acknowledge: ENXIO as in the kernel's
// Documentation/i2c/fault-codes.rst, and EREMOTEIO, which the drivers of the
// Pi's controllers (i2c-bcm2835, i2c-designware) return.
var unacknowledged = [...]string{"no such device or address", "remote I/O error"}

// Unacknowledged reports whether an I²C bus's error means that no chip acknowledged
// its address. The bus itself works then. It must also check the text: periph's sysfs
// driver formats the kernel's error with %v, so errors.Is does not find it.
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

// TransferError wraps an error of a bus and distinguishes a missing acknowledge from
// a failed bus. Every error that is not a missing acknowledge counts as the bus's
// fault: EIO means a clock held low for too long (i2c-bcm2835), ETIMEDOUT and EBUSY a
// line held low, EAGAIN lost arbitration, ENODEV an adapter that is gone.
func TransferError(doing string, cause error) error {
	kind := ErrBusStuck
	if Unacknowledged(cause) {
		kind = ErrNoAnswer
	}
	return fmt.Errorf("%s: %w: %w", doing, kind, cause)
}
