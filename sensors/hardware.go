package sensors

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"time"

	"periph.io/x/conn/v3/driver/driverreg"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"
	_ "periph.io/x/host/v3/sysfs" // I²C through /dev/i2c-N
)

// Hardware is where the parts hang: the Pi's own, or simulated ones.
type Hardware struct {
	// Bus opens an I²C bus by its name in the configuration. It is asked once
	// for each name.
	Bus func(name string) (i2c.Bus, error)
	// Pin finds a GPIO line by its name.
	Pin func(name string) (gpio.PinIO, error)
	// OneWire is the folder of the kernel's 1-wire devices.
	OneWire fs.FS
	// Wait returns after d or with the context's error; nil waits in real time.
	Wait func(ctx context.Context, d time.Duration) error
	// Now is the agent's monotonic clock, the one that ticks are stamped with.
	// It is required.
	Now func() time.Duration
	// Log gets one line when a reading becomes faulty and one when it is good
	// again, with the cause that a fault's name does not carry; nil is silent.
	Log *slog.Logger
}

// oneWireFolder is where the kernel shows its 1-wire devices.
const oneWireFolder = "/sys/bus/w1/devices"

// Pi is the hardware of the machine that this runs on. Now is left to the
// caller. The warnings name host drivers that did not load, for the log. To be
// called once.
//
// GPIO goes through the kernel's character device and not, as host.Init of
// periph would have it on a Pi, through the mapped registers: only a line that
// the kernel knows to be in use is kept from other programs, and only such a
// line is let go when this program dies (with dtparam=strict_gpiod), so that
// the relay opens.
func Pi() (hw Hardware, warnings []string, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("load drivers for GPIO and I²C: the driver crashed: %v", r)
		}
	}()
	state, err := driverreg.Init()
	if err != nil {
		return Hardware{}, nil, fmt.Errorf("load drivers for GPIO and I²C: %w", err)
	}
	for _, f := range state.Failed {
		warnings = append(warnings, "driver failed: "+f.String())
	}
	for _, f := range state.Skipped {
		warnings = append(warnings, "driver skipped: "+f.String())
	}
	return Hardware{Bus: piBus, Pin: newLines().pin, OneWire: os.DirFS(oneWireFolder)}, warnings, nil
}

func piBus(name string) (i2c.Bus, error) {
	if name == "" { // would be "the first one" to the registry
		return nil, errors.New("no bus is named")
	}
	bus, err := openLasting(func() (i2c.BusCloser, error) { return i2creg.Open(name) })
	if err != nil {
		return nil, fmt.Errorf("%w (is I²C switched on, and is the user in group i2c?)", err)
	}
	return bus, nil
}
