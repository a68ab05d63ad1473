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
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"
	_ "periph.io/x/host/v3/sysfs" // I²C and SPI through /dev/i2c-N and /dev/spidevB.C

	"bayward/sensors/modbus"
	"bayward/sensors/wiring"
)

// Hardware is what the parts are connected to: the Pi's own, or simulated.
type Hardware struct {
	// Bus opens an I²C bus by its name in the configuration. It is called once
	// for each name.
	Bus func(name string) (i2c.Bus, error)
	// SPI opens an SPI port by its name in the configuration. It is called once for
	// each chip. Nil: there is none.
	SPI func(name string) (spi.Port, error)
	// Modbus opens a line with devices that speak Modbus. It is called again after each
	// failure of the line. Nil: there is none.
	Modbus func(l *wiring.Line) (modbus.Master, error)
	// Pin finds a GPIO line by its name. None is ever driven: see agent/lease.
	Pin func(name string) (gpio.PinIn, error)
	// OneWire is the folder of the kernel's 1-wire devices.
	OneWire fs.FS
	// Wait returns after d or with the context's error; nil waits in real time.
	Wait func(ctx context.Context, d time.Duration) error
	// Now is the agent's monotonic clock, the one used for ticks. It is required.
	Now func() time.Duration
	// Log gets one line when a reading becomes faulty and one when it is good
	// again, with the cause, which a fault's name does not include; nil logs
	// nothing.
	Log *slog.Logger
}

// oneWireFolder is where the kernel shows its 1-wire devices.
const oneWireFolder = "/sys/bus/w1/devices"

// Pi returns the hardware of this machine. The caller sets Now. The warnings name
// host drivers that did not load, for the log. Call Pi only once.
//
// GPIO uses the kernel's character device, not the mapped registers that
// periph's host.Init would use on a Pi: only a line that the kernel knows to be
// in use is kept from other programs, and only such a line is released when this
// program dies (with dtparam=strict_gpiod), so that the relay opens.
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
	return Hardware{Bus: piBus, SPI: piSPI, Modbus: piModbus, Pin: newLines().pin, OneWire: os.DirFS(oneWireFolder)}, warnings, nil
}

func piBus(name string) (i2c.Bus, error) {
	if name == "" { // would mean the first bus to the registry
		return nil, errors.New("no bus is given")
	}
	bus, err := openLasting(func() (i2c.BusCloser, error) { return i2creg.Open(name) })
	if err != nil {
		return nil, fmt.Errorf("%w (is I²C switched on, and is the user in group i2c?)", err)
	}
	return bus, nil
}

func piSPI(name string) (spi.Port, error) {
	port, err := spireg.Open("SPI" + wiring.PlainBus(name))
	if err != nil {
		return nil, fmt.Errorf("%w (is SPI switched on with dtparam=spi=on, and is the user in group spi?)", err)
	}
	return port, nil
}

func piModbus(l *wiring.Line) (modbus.Master, error) {
	return modbus.Open(modbus.ClientOpts{
		URL: l.URL, Baud: uint(l.Baud), Parity: l.Parity, StopBits: uint(l.StopBits), Timeout: l.Timeout(),
	})
}
