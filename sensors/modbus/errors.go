package modbus

import (
	"errors"
	"fmt"

	protocol "github.com/simonvetter/modbus"
)

// The errors of a reading. Every error of a Point wraps one of these or the context's
// error.
var (
	// ErrNoAnswer: no answer within the line's time, or a gateway that gets none.
	ErrNoAnswer = errors.New("no answer")
	// ErrLine: the line cannot be opened, or fails.
	ErrLine = errors.New("line failed")
	// ErrCorrupted: a bad check sum, a short frame, or one that is none.
	ErrCorrupted = errors.New("answer corrupted")
	// ErrOther: another device than the one asked answers.
	ErrOther = errors.New("another device answers")
	// ErrRefused: the device has no such register, or does not read it so.
	ErrRefused = errors.New("the device refuses the request")
	// ErrBusy: the device answers that it is busy.
	ErrBusy = errors.New("the device is busy")
	// ErrDevice: the device reports a failure of its own or of its sensor.
	ErrDevice = errors.New("the device reports a failure")
	// ErrFrozen: the device's counter does not move.
	ErrFrozen = errors.New("the device's counter does not move")
	// ErrImplausible: outside the configured limits, which is also what the wrong order
	// of two words gives.
	ErrImplausible = errors.New("outside the limits of the value")
)

// rows has the protocol library's errors. The codes of exceptions are in section 7 of the
// application protocol.
var rows = []struct{ err, is error }{
	{protocol.ErrRequestTimedOut, ErrNoAnswer},
	{protocol.ErrGWPathUnavailable, ErrNoAnswer},
	{protocol.ErrGWTargetFailedToRespond, ErrNoAnswer},
	{protocol.ErrBadCRC, ErrCorrupted},
	{protocol.ErrShortFrame, ErrCorrupted},
	{protocol.ErrProtocolError, ErrCorrupted},
	{protocol.ErrUnknownProtocolId, ErrCorrupted},
	{protocol.ErrBadTransactionId, ErrCorrupted},
	{protocol.ErrBadUnitId, ErrOther},
	{protocol.ErrIllegalFunction, ErrRefused},
	{protocol.ErrIllegalDataAddress, ErrRefused},
	{protocol.ErrIllegalDataValue, ErrRefused},
	{protocol.ErrServerDeviceFailure, ErrDevice},
	{protocol.ErrMemoryParityError, ErrDevice},
	{protocol.ErrServerDeviceBusy, ErrBusy},
	{protocol.ErrAcknowledge, ErrBusy},
}

// classify wraps an error of a transaction. One that is not listed is the line's.
func classify(err error) error {
	for _, row := range rows {
		if errors.Is(err, row.err) {
			return fmt.Errorf("%w: %w", row.is, err)
		}
	}
	return fmt.Errorf("%w: %w", ErrLine, err)
}

// inStep reports whether line and device are still in step after an error: the device
// has answered this very request.
func inStep(err error) bool {
	return errors.Is(err, ErrRefused) || errors.Is(err, ErrBusy) || errors.Is(err, ErrDevice) ||
		errors.Is(err, protocol.ErrGWPathUnavailable) || errors.Is(err, protocol.ErrGWTargetFailedToRespond)
}
