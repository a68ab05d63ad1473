// Package chips plays the parts on the emulated board: a USB adapter for an I²C
// bus, which the guest's kernel drives over USB/IP, an I²C to 1-wire bridge, and
// thermometers at bit level.
//
// Sources: USB/IP protocol, kernel Documentation/usb/usbip_protocol.rst; the
// adapter's requests, kernel drivers/i2c/busses/i2c-tiny-usb.c; bridge, data
// sheet DS2482-100 (19-4930); thermometer, data sheet DS18B20 (19-7487).
package chips

import (
	"encoding/binary"
	"errors"
	"io"
	"net"
	"sync/atomic"
	"time"
)

// ErrStuck is returned by a Bus when a transfer fails for a reason other than a
// missing acknowledge; the kernel then sees a failed USB request.
var ErrStuck = errors.New("bus is stuck")

// Bus carries one I²C message: either w or r is not empty. Any error other than
// ErrStuck means that the chip does not acknowledge.
type Bus interface {
	// Tx writes w or fills r.
	Tx(addr uint16, w, r []byte) error
}

// Adapter is one I²C adapter on USB. Serve it on each connection.
type Adapter struct {
	Bus Bus
	// delay of each message, in nanoseconds, to imitate a slow bus.
	delay atomic.Int64
	count atomic.Int64
}

// Messages counts the I²C messages so far.
func (a *Adapter) Messages() int64 { return a.count.Load() }

// SetDelay makes each message take longer. The kernel gives up a message after two
// seconds.
func (a *Adapter) SetDelay(d time.Duration) { a.delay.Store(int64(d)) }

// Requests of the adapter and of the USB/IP protocol.
const (
	cmdSubmit = 1
	cmdUnlink = 2
	retSubmit = 3
	retUnlink = 4

	reqFunc   = 1
	reqStatus = 3
	reqIO     = 4 // with bits 0 and 1: first and last message

	statusAck  = 1
	statusNack = 2

	stalled = -32 // EPIPE, a request that the device refuses
)

// request is one USB request block.
type request struct {
	head  [48]byte
	data  []byte
	typ   byte
	code  byte
	value uint16
	index uint16
	in    bool
}

// Serve handles USB/IP on c until the guest disconnects, and closes c then.
func (a *Adapter) Serve(c net.Conn) error {
	defer func() { _ = c.Close() }()
	acked := false
	for {
		r, err := readRequest(c)
		if err != nil {
			return err
		}
		if binary.BigEndian.Uint32(r.head[:]) == cmdUnlink { // every request is already answered
			var reply [48]byte
			copy(reply[4:8], r.head[4:8])
			binary.BigEndian.PutUint32(reply[:], retUnlink)
			if _, err := c.Write(reply[:]); err != nil {
				return err
			}
			continue
		}
		n, status := a.answer(r, &acked)
		if _, err := c.Write(r.reply(n, status)); err != nil {
			return err
		}
	}
}

func readRequest(c io.Reader) (*request, error) {
	r := &request{}
	if _, err := io.ReadFull(c, r.head[:]); err != nil {
		return nil, err
	}
	be, setup := binary.BigEndian, r.head[40:48]
	if be.Uint32(r.head[:]) == cmdUnlink {
		return r, nil
	}
	r.in = be.Uint32(r.head[12:]) == 1
	const most = 1 << 16
	length := be.Uint32(r.head[24:])
	if length > most {
		return nil, errors.New("usb request is too long")
	}
	r.data = make([]byte, length)
	r.typ, r.code = setup[0], setup[1]
	r.value, r.index = binary.LittleEndian.Uint16(setup[2:]), binary.LittleEndian.Uint16(setup[4:])
	if r.in {
		return r, nil
	}
	_, err := io.ReadFull(c, r.data)
	return r, err
}

// reply encodes an answer, with n bytes of data if the request asked for some.
func (r *request) reply(n int, status int32) []byte {
	out := make([]byte, 48, 48+n)
	copy(out[4:8], r.head[4:8])
	be := binary.BigEndian
	be.PutUint32(out, retSubmit)
	be.PutUint32(out[20:], uint32(status))
	be.PutUint32(out[24:], uint32(n))
	if r.in {
		out = append(out, r.data[:n]...)
	}
	return out
}

// answer fills in the data and returns how many bytes of it are valid.
func (a *Adapter) answer(r *request, acked *bool) (n int, status int32) {
	const device, class = 0x80, 0x60
	n = len(r.data)
	switch {
	case r.typ == device && r.code == 6: // GET_DESCRIPTOR
		d := descriptor(byte(r.value>>8), byte(r.value))
		if d == nil {
			return 0, stalled
		}
		return copy(r.data, d), 0
	case r.typ == device && r.code == 0: // GET_STATUS
		return copy(r.data, []byte{0, 0}), 0
	case r.typ&class == 0: // SET_ADDRESS, SET_CONFIGURATION and the like
		return n, 0
	case r.code == reqFunc: // plain I²C and emulated SMBus
		return copy(r.data, []byte{0x01, 0x00, 0xFF, 0x0E}), 0
	case r.code == reqStatus:
		state := byte(statusNack)
		if *acked {
			state = statusAck
		}
		return copy(r.data, []byte{state}), 0
	case r.code&^3 == reqIO:
		return a.message(r, acked)
	}
	return n, 0
}

// message carries one I²C message.
func (a *Adapter) message(r *request, acked *bool) (n int, status int32) {
	if d := time.Duration(a.delay.Load()); d > 0 {
		time.Sleep(d)
	}
	var err error
	if r.in {
		err = a.Bus.Tx(r.index, nil, r.data)
	} else {
		err = a.Bus.Tx(r.index, r.data, nil)
	}
	a.count.Add(1)
	*acked = err == nil
	if errors.Is(err, ErrStuck) {
		return 0, stalled
	}
	return len(r.data), 0
}

// descriptor returns a USB descriptor of the adapter, nil if it has none such.
func descriptor(kind, index byte) []byte {
	switch {
	case kind == 1:
		return []byte{18, 1, 0x10, 0x01, 0xFF, 0, 0, 64, 0x03, 0x04, 0x31, 0xC6, 0x00, 0x02, 1, 2, 0, 1}
	case kind == 2:
		return []byte{9, 2, 18, 0, 1, 1, 0, 0x80, 50, 9, 4, 0, 0, 0, 0xFF, 0, 0, 0}
	case kind == 3 && index == 0:
		return []byte{4, 3, 9, 4}
	case kind == 3 && index == 1:
		return text("emulated")
	case kind == 3 && index == 2:
		return text("bench")
	}
	return nil
}

func text(s string) []byte {
	d := []byte{byte(2 + 2*len(s)), 3}
	for _, r := range []byte(s) {
		d = append(d, r, 0)
	}
	return d
}
