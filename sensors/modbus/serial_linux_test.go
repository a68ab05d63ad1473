package modbus

import (
	"fmt"
	"io"
	"os"
	"syscall"
	"testing"
	"time"
	"unsafe"
)

// terminal is a pseudo-terminal: what is written to one end of it is read at the other,
// as on a serial line.
func terminal(t *testing.T) (master *os.File, path string) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	t.Cleanup(func() { _ = master.Close() })
	control := func(request uintptr, value *uint32) {
		if _, _, errno := syscall.Syscall(syscall.SYS_IOCTL, master.Fd(), request, uintptr(unsafe.Pointer(value))); errno != 0 {
			t.Skipf("no pseudo-terminals here: %v", errno)
		}
	}
	var unlocked, number uint32
	control(syscall.TIOCSPTLCK, &unlocked)
	control(syscall.TIOCGPTN, &number)
	path = fmt.Sprintf("/dev/pts/%d", number)
	held, err := os.OpenFile(path, os.O_RDWR|syscall.O_NOCTTY, 0) // or the line would hang up with its last user
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	t.Cleanup(func() { _ = held.Close() })
	return master, path
}

// TestSerialLine: the example of section 6.3 of the application protocol over a serial
// device, then silence, then an answer that comes late: it is not taken for that of the
// next request.
func TestSerialLine(t *testing.T) {
	line, path := terminal(t)
	answers := make(chan []byte, 4)
	served := make(chan struct{})
	go func() {
		defer close(served)
		request := make([]byte, rtuRequest)
		for answer := range answers {
			if _, err := io.ReadFull(line, request); err != nil {
				return
			}
			if _, err := line.Write(answer); err != nil {
				return
			}
		}
	}()
	t.Cleanup(func() { close(answers); _ = line.Close(); <-served })
	start := time.Now()
	l := NewLine(LineOpts{
		Name: "meters", Quiet: 100 * time.Millisecond, Now: func() time.Duration { return time.Since(start) },
		Dial: func() (Master, error) {
			return Open(ClientOpts{URL: "rtu://" + path, Baud: 19200, Parity: "even", StopBits: 1, Timeout: 300 * time.Millisecond})
		},
	})
	t.Cleanup(func() { _ = l.Halt() })
	point := NewPoint(l, Place{Unit: 0x11, Table: Holding, Address: 107, Type: Uint16, Scale: 1, High: 65535})
	good := crc([]byte{0x11, 0x03, 0x02, 0x02, 0x2b})
	answers <- good
	if v, _, err := point.Read(t.Context()); v != 555 || err != nil {
		t.Fatalf("got %v, %v", v, err)
	}
	answers <- nil
	if v, _, err := point.Read(t.Context()); err == nil {
		t.Fatalf("silence reads as %v", v)
	}
	if _, err := line.Write(crc([]byte{0x11, 0x03, 0x02, 0x03, 0xe7})); err != nil { // late
		t.Fatal(err)
	}
	answers <- good
	if v, _, err := point.Read(t.Context()); v != 555 || err != nil {
		t.Errorf("after a late answer: %v, %v", v, err)
	}
}
