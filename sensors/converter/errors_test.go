package converter

import (
	"context"
	"errors"
	"fmt"
	"syscall"
	"testing"
	"time"
)

// TestClassify: the kernel's errors as text, as periph's sysfs driver returns them
// (formatted, not wrapped), and as errors that can be unwrapped.
// Sources: kernel Documentation/i2c/fault-codes.rst; the texts were seen with
// i2c-tiny-usb (ENXIO) and i2c-bcm2835 (EREMOTEIO).
func TestClassify(t *testing.T) {
	for _, tc := range []struct {
		cause error
		want  error
	}{
		{errors.New("sysfs-i2c: no such device or address"), ErrNoAnswer},
		{errors.New("sysfs-i2c: remote I/O error"), ErrNoAnswer},
		{fmt.Errorf("transfer: %w", syscall.ENXIO), ErrNoAnswer},
		{syscall.EREMOTEIO, ErrNoAnswer},
		{errors.New("sysfs-i2c: connection timed out"), ErrBusStuck},
		{errors.New("sysfs-i2c: input/output error"), ErrBusStuck},
		{errors.New("sysfs-i2c: device or resource busy"), ErrBusStuck},
		{errors.New("sysfs-i2c: resource temporarily unavailable"), ErrBusStuck},
		{errors.New("sysfs-i2c: no such device"), ErrBusStuck}, // ENODEV: the adapter is gone
		{syscall.ETIMEDOUT, ErrBusStuck},
		{syscall.ENODEV, ErrBusStuck},
		{errors.New("something new"), ErrBusStuck},
	} {
		if err := TransferError("read", tc.cause); !errors.Is(err, tc.cause) || !errors.Is(err, tc.want) || errors.Is(err, ErrNoAnswer) && errors.Is(err, ErrBusStuck) {
			t.Errorf("%v does not wrap both its cause and only its class", err)
		}
	}
}

func TestRealWait(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	if err := RealWait(ctx, time.Nanosecond); err != nil {
		t.Error(err)
	}
	cancel()
	if err := RealWait(ctx, time.Hour); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want canceled", err)
	}
}
