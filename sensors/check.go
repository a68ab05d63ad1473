package sensors

import (
	"errors"
	"io/fs"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"

	"bayward/agent/config"
	"bayward/sensors/modbus"
	"bayward/sensors/wiring"
)

// Check reports whether Open would accept the configuration, with the same code
// but without hardware: a configuration that passes can fail only on parts that
// the machine does not have. The errors are those of Open.
func Check(cfg *config.Config) error {
	_, err := Open(cfg, Hardware{
		Bus:     func(string) (i2c.Bus, error) { return noBus{}, nil },
		SPI:     func(string) (spi.Port, error) { return noPort{}, nil },
		Modbus:  func(*wiring.Line) (modbus.Master, error) { return nil, errNoHardware },
		Pin:     func(string) (gpio.PinIn, error) { return noPin{gpio.INVALID}, nil },
		OneWire: noFiles{},
		Now:     func() time.Duration { return 0 },
	})
	return err
}

// noBus is a bus on which nothing answers.
type noBus struct{}

var errNoHardware = errors.New("a check uses no hardware")

func (noBus) String() string                  { return "no bus" }
func (noBus) Tx(uint16, []byte, []byte) error { return errNoHardware }
func (noBus) SetSpeed(physic.Frequency) error { return nil }

// noPort is an SPI port on which nothing answers.
type noPort struct{ spi.Conn }

func (noPort) String() string { return "no port" }
func (noPort) Connect(physic.Frequency, spi.Mode, int) (spi.Conn, error) {
	return noPort{}, nil
}
func (noPort) Tx([]byte, []byte) error { return errNoHardware }

// noPin is a line that leads nowhere.
type noPin struct{ gpio.PinIn }

func (noPin) In(gpio.Pull, gpio.Edge) error { return nil }
func (noPin) Read() gpio.Level              { return gpio.Low }

// noFiles is an empty folder.
type noFiles struct{}

func (noFiles) Open(name string) (fs.File, error) {
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
}
