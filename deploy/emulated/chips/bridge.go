package chips

import (
	"errors"
	"sync"
)

// BridgeAddr is the I²C address of a DS2482 with its address pins low.
const BridgeAddr = 0x18

var errNack = errors.New("no acknowledge")

// Registers and commands of a DS2482-100.
const (
	regStatus = 0xF0
	regData   = 0xE1
	regConfig = 0xC3

	cmdDeviceReset = 0xF0
	cmdSetPointer  = 0xE1
	cmdConfig      = 0xD2
	cmdWireReset   = 0xB4
	cmdWriteByte   = 0xA5
	cmdReadByte    = 0x96
	cmdSingleBit   = 0x87
	cmdTriplet     = 0x78

	statusPresence = 0x02
	statusReset    = 0x10
	statusBit      = 0x20
)

// Bridge is a DS2482-100: a 1-wire master on an I²C bus. It implements Bus.
type Bridge struct {
	Wire *Wire

	mu      sync.Mutex // guards the fields below
	pointer byte
	status  byte
	config  byte
	data    byte
}

// Tx implements Bus.
func (b *Bridge) Tx(addr uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if addr != BridgeAddr {
		return errNack
	}
	if len(w) > 0 && !b.command(w) {
		return errNack
	}
	for i := range r {
		r[i] = map[byte]byte{regStatus: b.status, regData: b.data, regConfig: b.config}[b.pointer]
	}
	return nil
}

// command runs one command at once; the chip would be busy for a while.
func (b *Bridge) command(w []byte) bool {
	arg := byte(0)
	if len(w) > 1 {
		arg = w[1]
	}
	b.status &^= statusReset
	switch w[0] {
	case cmdDeviceReset:
		b.status, b.config = statusReset|0x08, 0
	case cmdSetPointer:
		b.pointer = arg
		return true
	case cmdConfig: // the high half is the complement
		b.config, b.pointer = arg&0x0F, regConfig
		return true
	case cmdWireReset:
		b.status &^= statusPresence
		if b.Wire.Reset() {
			b.status |= statusPresence
		}
	case cmdWriteByte:
		for i := range 8 {
			b.Wire.Write(arg>>i&1 != 0)
		}
	case cmdReadByte:
		b.data = 0
		for i := range 8 {
			if b.Wire.Read() {
				b.data |= 1 << i
			}
		}
	case cmdSingleBit:
		b.singleBit(arg&0x80 != 0)
	case cmdTriplet:
		b.triplet(arg&0x80 != 0)
	default: // channel selection and the like: not on this variant
		return false
	}
	b.pointer = regStatus
	return true
}

// singleBit is one time slot: writing a 1 is also a read.
func (b *Bridge) singleBit(one bool) {
	b.status &^= statusBit
	if !one {
		b.Wire.Write(false)
	} else if b.Wire.Slot() {
		b.status |= statusBit
	}
}

// triplet is one step of the search: a bit, its complement, the direction taken.
func (b *Bridge) triplet(wish bool) {
	bit, complement := b.Wire.Read(), b.Wire.Read()
	way := wish
	switch {
	case bit != complement:
		way = bit
	case bit: // no sensor answers
		way = true
	}
	b.status &^= 0xE0
	for i, set := range []bool{bit, complement, way} {
		if set {
			b.status |= statusBit << i
		}
	}
	b.Wire.Write(way)
}
