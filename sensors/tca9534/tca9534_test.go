package tca9534

import (
	"errors"
	"strings"
	"testing"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
)

// TestBytes: the bytes on the bus are those of the data sheet's command bytes: output
// port 0x01, configuration 0x03 with a 1 for an input.
func TestBytes(t *testing.T) {
	bus := i2ctest.Playback{Ops: []i2ctest.IO{
		{Addr: 0x21, W: []byte{0x01, 0b01}}, {Addr: 0x21, W: []byte{0x03, 0xfc}}, {Addr: 0x21, W: []byte{0x03}, R: []byte{0xfc}},
		{Addr: 0x21, W: []byte{0x01, 0}}, {Addr: 0x21, W: []byte{0x03, 0xff}}, {Addr: 0x21, W: []byte{0x03}, R: []byte{0xff}},
	}}
	d, err := New(&bus, &Opts{Addr: 0x21})
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(d.Set(0b01, 0b11), d.Halt(), bus.Close()); err != nil {
		t.Error(err)
	}
}

// chip is the register file after the data sheet; reset is its state after power-on.
type chip struct {
	regs   [4]byte
	resets int // after so many transfers
	err    error
}

func (c *chip) String() string                { return "sim" }
func (*chip) SetSpeed(physic.Frequency) error { return nil }

func (c *chip) Tx(_ uint16, w, r []byte) error {
	if c.err != nil {
		return c.err
	}
	if c.resets--; c.resets == 0 {
		c.regs = [4]byte{0, 0xff, 0, 0xff}
	}
	at := w[0] & 3
	if len(w) > 1 && at != 0 {
		c.regs[at] = w[1]
	}
	for i := range r {
		r[i] = c.regs[at]
	}
	return nil
}

var _ i2c.Bus = (*chip)(nil)

func TestSet(t *testing.T) {
	c := &chip{regs: [4]byte{0, 0xff, 0, 0xff}}
	d, err := New(c, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Set(0b10, 0b11); err != nil || c.regs[1] != 0b10 || c.regs[3] != 0xfc {
		t.Errorf("%v, registers %v", err, c.regs)
	}
	c.resets = 3 // its supply dips before the configuration is read back
	if err := d.Set(0b01, 0b11); !errors.Is(err, ErrLost) {
		t.Errorf("a chip that was reset: %v", err)
	}
	c.err = errors.New("no such device or address")
	if err := d.Set(0, 0); !errors.Is(err, c.err) || !strings.Contains(err.Error(), "TCA9534{sim(32)}") {
		t.Errorf("no answer: %v", err)
	}
}

func TestNewRefuses(t *testing.T) {
	for _, addr := range []uint16{0, 0x1f, 0x28, 0x37, 0x40, 0x48} {
		if _, err := New(&chip{}, &Opts{Addr: addr}); err == nil {
			t.Errorf("address %#x is accepted", addr)
		}
	}
	if _, err := New(nil, nil); err == nil {
		t.Error("no bus is accepted")
	}
}
