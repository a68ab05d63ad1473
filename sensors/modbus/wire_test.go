package modbus

import (
	"encoding/binary"
	"errors"
	"io"
	"net"
	"testing"
	"time"
)

// slave answers requests on a loopback socket, byte by byte as the test says.
type slave struct {
	listener net.Listener
	answer   func(request []byte) []byte
	requests int // in bytes
}

func newSlave(t *testing.T, requestBytes int, answer func(request []byte) []byte) *slave {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &slave{l, answer, requestBytes}
	done := make(chan struct{})
	go func() { defer close(done); s.serve() }()
	t.Cleanup(func() { _ = l.Close(); <-done })
	return s
}

func (s *slave) serve() {
	for {
		c, err := s.listener.Accept()
		if err != nil {
			return
		}
		request := make([]byte, s.requests)
		for {
			if _, err := io.ReadFull(c, request); err != nil {
				break
			}
			if _, err := c.Write(s.answer(request)); err != nil {
				break
			}
		}
		_ = c.Close()
	}
}

// open opens a master on the slave.
func (s *slave) open(t *testing.T, scheme string) Master {
	t.Helper()
	m, err := Open(ClientOpts{URL: scheme + "://" + s.listener.Addr().String(), Baud: 115200, Timeout: 50 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = m.Close() })
	return m
}

// crc is the check sum of a frame on a serial line, written from appendix B of the serial
// line guide: polynomial A001h, start FFFFh, low byte first.
func crc(frame []byte) []byte {
	sum := uint16(0xffff)
	for _, b := range frame {
		sum ^= uint16(b)
		for range 8 {
			if sum&1 != 0 {
				sum = sum>>1 ^ 0xa001
			} else {
				sum >>= 1
			}
		}
	}
	return append(append([]byte{}, frame...), byte(sum), byte(sum>>8))
}

// TestCRC: the check value of this sum over "123456789" is 4B37h (catalogue of
// parametrised CRC algorithms, CRC-16/MODBUS).
func TestCRC(t *testing.T) {
	if got := crc([]byte("123456789")); got[9] != 0x37 || got[10] != 0x4b {
		t.Errorf("got % x", got[9:])
	}
}

const rtuRequest = 8

// TestSerialFrames: requests and answers as they are on a serial line; the example of
// section 6.3 of the application protocol, three holding registers from 107.
func TestSerialFrames(t *testing.T) {
	good := crc([]byte{0x11, 0x03, 0x06, 0x02, 0x2b, 0x00, 0x00, 0x00, 0x64})
	for name, tc := range map[string]struct {
		answer []byte
		want   error
	}{
		"published: 6.3":               {good, nil},
		"one bit damaged":              {append([]byte{0x11, 0x03, 0x06, 0x02, 0x2a}, good[5:]...), ErrCorrupted},
		"cut short, the rest missing":  {good[:6], ErrNoAnswer},
		"two bytes":                    {good[:2], ErrCorrupted},
		"another device":               {crc([]byte{0x12, 0x03, 0x06, 0x02, 0x2b, 0x00, 0x00, 0x00, 0x64}), ErrOther},
		"another function":             {crc([]byte{0x11, 0x04, 0x06, 0x02, 0x2b, 0x00, 0x00, 0x00, 0x64}), ErrCorrupted},
		"too few registers":            {crc([]byte{0x11, 0x03, 0x04, 0x02, 0x2b, 0x00, 0x00}), ErrCorrupted},
		"published: illegal address":   {crc([]byte{0x11, 0x83, 0x02}), ErrRefused},
		"published: illegal function":  {crc([]byte{0x11, 0x83, 0x01}), ErrRefused},
		"published: device failure":    {crc([]byte{0x11, 0x83, 0x04}), ErrDevice},
		"published: device busy":       {crc([]byte{0x11, 0x83, 0x06}), ErrBusy},
		"published: gateway, no path":  {crc([]byte{0x11, 0x83, 0x0a}), ErrNoAnswer},
		"published: gateway, no reply": {crc([]byte{0x11, 0x83, 0x0b}), ErrNoAnswer},
		"exception without a meaning":  {crc([]byte{0x11, 0x83, 0x7f}), ErrLine},
		"silence":                      {nil, ErrNoAnswer},
		"the request's own echo":       {crc([]byte{0x11, 0x03, 0x00, 0x6b, 0x00, 0x03}), ErrCorrupted},
		"noise":                        {[]byte{0x00, 0xff, 0x55, 0xaa, 0x00, 0xff}, ErrCorrupted},
	} {
		t.Run(name, func(t *testing.T) {
			asked := make(chan []byte, 1)
			s := newSlave(t, rtuRequest, func(request []byte) []byte {
				asked <- append([]byte{}, request...)
				return tc.answer
			})
			from := time.Now()
			words, err := s.open(t, "rtuovertcp").Read(0x11, Holding, 107, 3)
			if took := time.Since(from); took > 2*time.Second { // a bound, not a figure
				t.Errorf("took %v", took)
			}
			if want := crc([]byte{0x11, 0x03, 0x00, 0x6b, 0x00, 0x03}); string(<-asked) != string(want) {
				t.Errorf("the request is not % x", want)
			}
			if tc.want != nil {
				if err == nil || !errors.Is(classify(err), tc.want) {
					t.Errorf("got %v, %v, want %v", words, err, tc.want)
				}
				return
			}
			if err != nil || len(words) != 3 || words[0] != 555 || words[1] != 0 || words[2] != 100 {
				t.Errorf("got %v, %v", words, err)
			}
		})
	}
}

// mbap puts a frame into its envelope (Modbus on TCP/IP implementation guide V1.0b,
// section 3.1.3).
func mbap(transaction uint16, frame ...byte) []byte {
	out := binary.BigEndian.AppendUint16(nil, transaction)
	out = append(out, 0, 0)
	return append(binary.BigEndian.AppendUint16(out, uint16(len(frame))), frame...)
}

const tcpRequest = 12

// TestTCPFrames: the same over TCP, for each table; a late answer to an earlier request
// is passed over.
func TestTCPFrames(t *testing.T) {
	for name, tc := range map[string]struct {
		table    string
		function byte
		answer   []byte // after the unit
		want     []uint16
	}{
		"published: 6.3, holding":   {Holding, 3, []byte{3, 4, 0x02, 0x2b, 0x00, 0x64}, []uint16{555, 100}},
		"published: 6.4, input":     {Input, 4, []byte{4, 4, 0x00, 0x0a, 0x00, 0x01}, []uint16{10, 1}},
		"published: 6.1, coils":     {Coil, 1, []byte{1, 1, 0x02}, []uint16{0, 1}},
		"published: 6.2, discretes": {Discrete, 2, []byte{2, 1, 0x01}, []uint16{1, 0}},
	} {
		t.Run(name, func(t *testing.T) {
			asked := make(chan []byte, 1)
			s := newSlave(t, tcpRequest, func(request []byte) []byte {
				asked <- append([]byte{}, request...)
				id := binary.BigEndian.Uint16(request)
				late := mbap(id-1, append([]byte{7}, tc.answer...)...)
				late[len(late)-1] ^= 0xff
				return append(late, mbap(id, append([]byte{7}, tc.answer...)...)...)
			})
			words, err := s.open(t, "tcp").Read(7, tc.table, 300, 2)
			if request := <-asked; string(request[4:]) != string([]byte{0, 6, 7, tc.function, 0x01, 0x2c, 0, 2}) {
				t.Errorf("asked % x", request)
			}
			if err != nil || len(words) != 2 || words[0] != tc.want[0] || words[1] != tc.want[1] {
				t.Errorf("got %v, %v, want %v", words, err, tc.want)
			}
		})
	}
}

// TestOverAWire reads a value over a line on the real protocol library, through silence
// and back.
func TestOverAWire(t *testing.T) {
	silent := make(chan bool, 4)
	silent <- false
	silent <- true
	silent <- false
	s := newSlave(t, rtuRequest, func(request []byte) []byte {
		if <-silent {
			return nil
		}
		return crc([]byte{request[0], 0x04, 0x04, 0x41, 0xc8, 0x00, 0x00})
	})
	start := time.Now()
	l := NewLine(LineOpts{
		Name: "meters", Quiet: time.Millisecond, Now: func() time.Duration { return time.Since(start) },
		Dial: func() (Master, error) {
			return Open(ClientOpts{URL: "rtuovertcp://" + s.listener.Addr().String(), Baud: 115200, Timeout: 50 * time.Millisecond})
		},
	})
	point := NewPoint(l, Place{Unit: 9, Table: Input, Address: 1, Type: Float32, Scale: 1, High: 100})
	for i, want := range []error{nil, ErrNoAnswer, nil} {
		if v, _, err := point.Read(t.Context()); !errors.Is(err, want) || err == nil && v != 25 {
			t.Errorf("reading %d: got %v, %v, want %v", i, v, err, want)
		}
	}
	if err := l.Halt(); err != nil {
		t.Error(err)
	}
}

func TestOpenRefuses(t *testing.T) {
	for _, o := range []ClientOpts{
		{URL: "carrier-pigeon://roof"}, {URL: "rtu:///dev/none", Parity: "odd-ish"}, {URL: "rtu:///dev/there-is-none", Parity: "even", Baud: 9600},
	} {
		if m, err := Open(o); err == nil {
			t.Errorf("%+v: opened %v", o, m)
		}
	}
	s := newSlave(t, rtuRequest, func([]byte) []byte { return nil })
	if _, err := s.open(t, "rtuovertcp").Read(1, "drawer", 0, 1); err == nil {
		t.Error("a table that does not exist: no error")
	}
}
