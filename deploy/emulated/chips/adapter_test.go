package chips_test

import (
	"encoding/binary"
	"errors"
	"io"
	"net"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/deploy/emulated/chips"
)

// fakeBus answers at one address and returns err.
type fakeBus struct {
	err error
	got []byte
}

func (f *fakeBus) Tx(_ uint16, w, r []byte) error {
	f.got = append(f.got, w...)
	for i := range r {
		r[i] = byte(0xA0 + i)
	}
	return f.err
}

// submit sends one control request as the kernel does (usbip_protocol.rst,
// USBIP_CMD_SUBMIT) and returns status and data of the answer.
func submit(t *testing.T, c net.Conn, in bool, setup [8]byte, data []byte, length int) (int32, []byte) {
	t.Helper()
	var h [48]byte
	binary.BigEndian.PutUint32(h[0:], 1)
	binary.BigEndian.PutUint32(h[4:], 77)
	if in {
		binary.BigEndian.PutUint32(h[12:], 1)
	}
	binary.BigEndian.PutUint32(h[24:], uint32(length))
	copy(h[40:], setup[:])
	_, err := c.Write(append(h[:], data...))
	require.NoError(t, err)
	_, err = io.ReadFull(c, h[:])
	require.NoError(t, err)
	require.Equal(t, uint32(3), binary.BigEndian.Uint32(h[0:]), "USBIP_RET_SUBMIT")
	require.Equal(t, uint32(77), binary.BigEndian.Uint32(h[4:]), "the number of the request")
	status, n := int32(binary.BigEndian.Uint32(h[20:])), binary.BigEndian.Uint32(h[24:])
	if !in {
		return status, nil
	}
	got := make([]byte, n)
	_, err = io.ReadFull(c, got)
	require.NoError(t, err)
	return status, got
}

// TestMessages: the requests of i2c-tiny-usb.c: CMD_I2C_IO with begin and end,
// then CMD_GET_STATUS, which returns 1 for an acknowledge and 2 for none. A
// transfer that fails for another reason is a refused request.
func TestMessages(t *testing.T) {
	bus := &fakeBus{}
	a := &chips.Adapter{Bus: bus}
	kernel, device := net.Pipe()
	done := make(chan error, 1)
	go func() { done <- a.Serve(device) }()

	write, read, state := [8]byte{0x40, 4 | 3, 0, 0, 0x48}, [8]byte{0xC0, 4 | 3, 1, 0, 0x48}, [8]byte{0xC0, 3}
	status, _ := submit(t, kernel, false, write, []byte{1, 2, 3}, 3)
	require.Zero(t, status)
	require.Equal(t, []byte{1, 2, 3}, bus.got)
	_, got := submit(t, kernel, true, state, nil, 1)
	require.Equal(t, []byte{1}, got)
	_, got = submit(t, kernel, true, read, nil, 2)
	require.Equal(t, []byte{0xA0, 0xA1}, got)

	bus.err = errors.New("no chip there")
	status, _ = submit(t, kernel, false, write, []byte{1}, 1)
	require.Zero(t, status)
	_, got = submit(t, kernel, true, state, nil, 1)
	require.Equal(t, []byte{2}, got)

	bus.err = chips.ErrStuck
	status, _ = submit(t, kernel, false, write, []byte{1}, 1)
	require.Equal(t, int32(-32), status, "EPIPE")
	require.EqualValues(t, 4, a.Messages())

	require.NoError(t, kernel.Close())
	require.Error(t, <-done)
}
