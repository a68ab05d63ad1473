package mqtt

import (
	"bufio"
	"errors"
	"io"
	"net"
)

// maxPacket limits a packet from the broker, in bytes. The library would allocate
// whatever a header announces, up to 256 MB. The state of a bay of 40 cells in a visit
// takes some 16 KiB.
const maxPacket = 64 << 10

// Types of control packets, MQTT 3.1.1, section 2.2.1.
const (
	typePublish = 3
	typeSuback  = 9
)

// subackLength is the length of the answer to one filter. The library does not
// check it, and would panic on a longer one.
const subackLength = 3

// errPacket means that a packet is not valid MQTT, or is too large.
var errPacket = errors.New("the broker sent an invalid packet")

// guard lets only packets through that the library can handle. A publication
// that is too large is truncated, so that it can be answered and is not sent
// again forever; it is still far too large for a command.
type guard struct {
	net.Conn
	in   *bufio.Reader
	head []byte // of a packet, still to be passed on
	pass int    // bytes after it that are passed on
	skip int    // bytes after these that are dropped
}

func newGuard(c net.Conn) *guard { return &guard{Conn: c, in: bufio.NewReader(c)} }

// Read implements net.Conn.
func (g *guard) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	if len(g.head) == 0 && g.pass == 0 {
		if err := g.next(); err != nil {
			return 0, err
		}
	}
	if len(g.head) > 0 {
		n := copy(p, g.head)
		g.head = g.head[n:]
		return n, nil
	}
	n, err := g.in.Read(p[:min(len(p), g.pass)])
	g.pass -= n
	return n, err
}

// next reads the head of a packet: section 2.2.
func (g *guard) next() error {
	for g.skip > 0 {
		n, err := g.in.Discard(min(g.skip, maxPacket))
		g.skip -= n
		if err != nil {
			return err
		}
	}
	first, err := g.in.ReadByte()
	if err != nil {
		return err
	}
	length, err := readLength(g.in)
	if err != nil {
		return err
	}
	switch kind := first >> 4; {
	case kind == typeSuback && length != subackLength, kind != typePublish && length > maxPacket:
		return errPacket
	}
	g.pass, g.skip = min(length, maxPacket), max(0, length-maxPacket)
	g.head = appendLength(append(g.head[:0], first), g.pass)
	return nil
}

// readLength reads the remaining length: section 2.2.3.
func readLength(r io.ByteReader) (length int, err error) {
	for shift := 0; shift < 28; shift += 7 {
		b, err := r.ReadByte()
		if err != nil {
			return 0, err
		}
		length |= int(b&0x7f) << shift
		if b&0x80 == 0 {
			return length, nil
		}
	}
	return 0, errPacket
}

func appendLength(b []byte, length int) []byte {
	for length > 0x7f {
		b = append(b, byte(length&0x7f)|0x80)
		length >>= 7
	}
	return append(b, byte(length))
}

var _ net.Conn = &guard{}
