package lease

import (
	"encoding/binary"
	"errors"
	"time"
)

// Both ends speak in frames of fixed size, one record of a SOCK_SEQPACKET socket
// each, numbers little-endian. The agent asks, and the keeper answers every frame.
//
// A request is 32 bytes:
//
//	 0  2  "bk"
//	 2  1  version, 1
//	 3  1  'L'
//	 4  4  which bay: CRC-32 (IEEE) of its row, see Row
//	 8  8  sequence, higher than that of every earlier frame of the connection
//	16  8  at: CLOCK_BOOTTIME, in ns, when the decision was begun
//	24  2  for: ms after at that the relay may stay closed, at most 3000; 0 opens it
//	26  1  1 to beat the heart, 0 not to
//	27  1  0
//	28  4  how many trips of this bay the agent knows of
//
// An answer is 24 bytes:
//
//	 0  2  "bk"
//	 2  1  version, 1
//	 3  1  'S'
//	 4  4  which bay, as asked
//	 8  8  sequence, as asked
//	16  4  trips of this bay so far
//	20  1  1 if the keeper drives the relay closed, 0 if open
//	21  1  why it does not do what was asked, see the faults below; 0 for nothing
//	22  2  0
//
// at makes a frame carry its own age: one that has waited in a socket, behind a
// stopped process, closes nothing. Everything else in a frame is malformed, and so is
// an at that the keeper's clock has not reached.
const (
	version     = 1
	RequestSize = 32 // bytes
	AnswerSize  = 24 // bytes

	kindLease = 'L'
	kindState = 'S'
)

// Longest is the longest lease. It is also how long a frame counts as fresh.
const Longest = 3 * time.Second

// Faults of an answer.
const (
	none           = iota
	unacknowledged // a trip that the agent does not know of
	late           // the lease was over when the frame came
	line           // the line could not be driven
	unknown        // the keeper has no such row
	faults         // how many there are
)

type request struct {
	bay      uint32
	sequence uint64
	at, span time.Duration // span 0: open
	beat     bool
	trips    uint32
}

type answer struct {
	bay      uint32
	sequence uint64
	trips    uint32
	closed   bool
	fault    byte
}

var errFrame = errors.New("malformed frame")

func (r *request) encode(b *[RequestSize]byte) {
	*b = [RequestSize]byte{'b', 'k', version, kindLease}
	binary.LittleEndian.PutUint32(b[4:], r.bay)
	binary.LittleEndian.PutUint64(b[8:], r.sequence)
	binary.LittleEndian.PutUint64(b[16:], uint64(r.at))
	binary.LittleEndian.PutUint16(b[24:], uint16(r.span/time.Millisecond))
	b[26] = bit(r.beat)
	binary.LittleEndian.PutUint32(b[28:], r.trips)
}

// decode accepts exactly what encode writes.
func (r *request) decode(b []byte) error {
	if len(b) != RequestSize || [4]byte(b) != [4]byte{'b', 'k', version, kindLease} || b[26] > 1 || b[27] != 0 {
		return errFrame
	}
	*r = request{
		bay:      binary.LittleEndian.Uint32(b[4:]),
		sequence: binary.LittleEndian.Uint64(b[8:]),
		at:       time.Duration(binary.LittleEndian.Uint64(b[16:])),
		span:     time.Duration(binary.LittleEndian.Uint16(b[24:])) * time.Millisecond,
		beat:     b[26] == 1,
		trips:    binary.LittleEndian.Uint32(b[28:]),
	}
	if r.at < 0 || r.span > Longest {
		return errFrame
	}
	return nil
}

func (a *answer) encode(b *[AnswerSize]byte) {
	*b = [AnswerSize]byte{'b', 'k', version, kindState}
	binary.LittleEndian.PutUint32(b[4:], a.bay)
	binary.LittleEndian.PutUint64(b[8:], a.sequence)
	binary.LittleEndian.PutUint32(b[16:], a.trips)
	b[20], b[21] = bit(a.closed), a.fault
}

// decode accepts exactly what encode writes.
func (a *answer) decode(b []byte) error {
	if len(b) != AnswerSize || [4]byte(b) != [4]byte{'b', 'k', version, kindState} || b[20] > 1 || b[21] >= faults || b[22] != 0 || b[23] != 0 {
		return errFrame
	}
	*a = answer{
		bay:      binary.LittleEndian.Uint32(b[4:]),
		sequence: binary.LittleEndian.Uint64(b[8:]),
		trips:    binary.LittleEndian.Uint32(b[16:]),
		closed:   b[20] == 1,
		fault:    b[21],
	}
	return nil
}

func bit(b bool) byte {
	if b {
		return 1
	}
	return 0
}
