package modbus

import (
	"fmt"
	"io"
	"log"
	"strings"
	"time"

	protocol "github.com/simonvetter/modbus"
)

// ClientOpts are the settings of a real line.
type ClientOpts struct {
	// URL is rtu:///dev/ttyUSB0 or tcp://host:port.
	URL string
	// Baud, Parity ("none", "even" or "odd") and StopBits are for rtu.
	Baud     uint
	Parity   string
	StopBits uint
	// Timeout is how long an answer may take.
	Timeout time.Duration
}

var parities = map[string]uint{"none": protocol.PARITY_NONE, "even": protocol.PARITY_EVEN, "odd": protocol.PARITY_ODD}

// Open opens a real line.
func Open(o ClientOpts) (Master, error) {
	parity, ok := parities[o.Parity]
	if !ok && strings.HasPrefix(o.URL, "rtu:") {
		return nil, fmt.Errorf("parity %q is not one of none, even, odd", o.Parity)
	}
	c, err := protocol.NewClient(&protocol.ClientConfiguration{
		URL: o.URL, Speed: o.Baud, DataBits: 8, Parity: parity, StopBits: o.StopBits, Timeout: o.Timeout,
		Logger: log.New(io.Discard, "", 0), // it would log to the standard output
	})
	if err != nil {
		return nil, err
	}
	if err := c.Open(); err != nil {
		return nil, err
	}
	return client{c}, nil
}

// client is a Master on the protocol library.
type client struct{ c *protocol.ModbusClient }

func (c client) Close() error { return c.c.Close() }

func (c client) Read(unit uint8, table string, address, count uint16) ([]uint16, error) {
	if err := c.c.SetUnitId(unit); err != nil {
		return nil, err
	}
	switch table {
	case Holding:
		return c.c.ReadRegisters(address, count, protocol.HOLDING_REGISTER)
	case Input:
		return c.c.ReadRegisters(address, count, protocol.INPUT_REGISTER)
	case Coil:
		return words(c.c.ReadCoils(address, count))
	case Discrete:
		return words(c.c.ReadDiscreteInputs(address, count))
	}
	return nil, fmt.Errorf("there is no table %q", table)
}

func words(bits []bool, err error) ([]uint16, error) {
	out := make([]uint16, len(bits))
	for i, on := range bits {
		if on {
			out[i] = 1
		}
	}
	return out, err
}
