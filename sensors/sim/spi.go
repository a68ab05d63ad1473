package sim

import (
	"errors"
	"time"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// spiSeed keeps the noise of converters on SPI apart from those on I²C.
const spiSeed = 0x1000

// port is one SPI port: the lines of a bus with one chip select, and its converter.
// SPI acknowledges nothing, so a transfer never fails: what a broken one returns is
// what its data line is at. The board pulls it up (deploy/wiring.md).
type port struct {
	bench *Bench
	name  string
	dev   *adc
	clock physic.Frequency
	mode  spi.Mode
}

var errWords = errors.New("sim-spi: words of 8 bits, and equal lengths of what is written and read")

// String returns the port's name.
func (p *port) String() string { return "sim-spi-" + p.name }

// Connect implements spi.Port.
func (p *port) Connect(f physic.Frequency, mode spi.Mode, bits int) (spi.Conn, error) {
	if bits != 8 || f <= 0 {
		return nil, errWords
	}
	p.clock, p.mode = f, mode
	return p, nil
}

// Duplex implements conn.Conn.
func (p *port) Duplex() conn.Duplex { return conn.Full }

// Tx runs one transaction, with the chip selected from its first bit to its last.
func (p *port) Tx(w, r []byte) error {
	p.bench.mu.Lock()
	defer p.bench.mu.Unlock()
	if len(r) != 0 && len(r) != len(w) {
		return errWords
	}
	p.bench.busTime += time.Duration(8*len(w)) * p.clock.Period()
	in := make([]byte, len(w))
	switch {
	case p.dev.faulty(BusStuck): // the data line is held low
	case p.dev.faulty(ADCAbsent):
		for i := range in {
			in[i] = 0xff
		}
	default:
		p.dev.chip.Tx(w, in)
	}
	copy(r, in)
	return nil
}

// TxPackets implements spi.Conn.
func (p *port) TxPackets(all []spi.Packet) error {
	for i := range all {
		if err := p.Tx(all[i].W, all[i].R); err != nil {
			return err
		}
	}
	return nil
}

var (
	_ spi.Port = (*port)(nil)
	_ spi.Conn = (*port)(nil)
)
