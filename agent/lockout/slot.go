package lockout

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"maps"
	"slices"
)

// Bay is what must not be lost of one bay.
type Bay struct {
	Held    bool     // by whomever
	Visit   bool     // one is open
	Latches []string // names of the latched findings, in order
	Newest  uint64   // number of its newest event on record, 0 for none
	Doubted bool     // its record is not the newest, and the hold for that is not on record yet
}

// Equal reports whether two bays are the same.
func (b Bay) Equal(c Bay) bool {
	return b.Held == c.Held && b.Visit == c.Visit && b.Doubted == c.Doubted && b.Newest == c.Newest && slices.Equal(b.Latches, c.Latches)
}

// State is what the file has.
type State struct {
	Mark uint64 // of the logbook that it goes with
	Bays map[string]Bay
}

// Equal reports whether two states are the same.
func (s *State) Equal(t *State) bool {
	return s.Mark == t.Mark && maps.EqualFunc(s.Bays, t.Bays, Bay.Equal)
}

const (
	magic     = "BAYWLOCK"
	version   = 1
	slotBytes = 8192
	headBytes = 32
	sumBytes  = 4

	heldBit    = 1 << 0
	visitBit   = 1 << 1
	doubtedBit = 1 << 2
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// errSlot means that a slot is not one that this program has written whole.
var errSlot = errors.New("bad slot")

// encode returns a slot up to its checksum. It fails for a state that does not fit.
func encode(s *State, generation uint64) ([]byte, error) {
	out := append(make([]byte, 0, 512), magic...)
	out = binary.BigEndian.AppendUint16(out, version)
	out = binary.BigEndian.AppendUint16(out, uint16(len(s.Bays)))
	out = binary.BigEndian.AppendUint32(out, 0)
	out = binary.BigEndian.AppendUint64(out, generation)
	out = binary.BigEndian.AppendUint64(out, s.Mark)
	for _, name := range slices.Sorted(maps.Keys(s.Bays)) {
		var err error
		if out, err = appendBay(out, name, s.Bays[name]); err != nil {
			return nil, err
		}
	}
	if len(out)+sumBytes > slotBytes {
		return nil, fmt.Errorf("lockout: %d bays take %d bytes, a slot has %d", len(s.Bays), len(out)+sumBytes, slotBytes)
	}
	binary.BigEndian.PutUint32(out[12:], uint32(len(out)-headBytes))
	return binary.BigEndian.AppendUint32(out, crc32.Checksum(out, castagnoli)), nil
}

func appendBay(out []byte, name string, b Bay) ([]byte, error) {
	var flags byte
	if b.Held {
		flags |= heldBit
	}
	if b.Visit {
		flags |= visitBit
	}
	if b.Doubted {
		flags |= doubtedBit
	}
	out, err := appendName(out, name)
	out = binary.BigEndian.AppendUint64(append(out, flags), b.Newest)
	if len(b.Latches) > 255 {
		err = errors.Join(err, fmt.Errorf("lockout: %d latches in %s", len(b.Latches), name))
	}
	out = append(out, byte(len(b.Latches)))
	latches := slices.Clone(b.Latches)
	slices.Sort(latches)
	for _, l := range latches {
		var long error
		out, long = appendName(out, l)
		err = errors.Join(err, long)
	}
	return out, err
}

func appendName(out []byte, name string) ([]byte, error) {
	if name == "" || len(name) > 255 {
		return out, fmt.Errorf("lockout: a name of %d bytes: must be 1 to 255", len(name))
	}
	return append(append(out, byte(len(name))), name...), nil
}

// decode reads a slot. Any deviation from the format is errSlot.
func decode(slot []byte) (s State, generation uint64, err error) {
	if len(slot) < headBytes+sumBytes || string(slot[:8]) != magic || binary.BigEndian.Uint16(slot[8:]) != version {
		return State{}, 0, errSlot
	}
	body := int(binary.BigEndian.Uint32(slot[12:]))
	if body > min(len(slot), slotBytes)-headBytes-sumBytes {
		return State{}, 0, errSlot
	}
	end := headBytes + body
	if binary.BigEndian.Uint32(slot[end:]) != crc32.Checksum(slot[:end], castagnoli) {
		return State{}, 0, errSlot
	}
	generation = binary.BigEndian.Uint64(slot[16:])
	r := reader{rest: slot[headBytes:end]}
	s = State{Mark: binary.BigEndian.Uint64(slot[24:]), Bays: r.bays(int(binary.BigEndian.Uint16(slot[10:])))}
	if r.bad || len(r.rest) > 0 || generation == 0 {
		return State{}, 0, errSlot
	}
	return s, generation, nil
}

// reader takes parts off the front of a slot's body. Once bad it stays bad.
type reader struct {
	rest []byte
	bad  bool
}

func (r *reader) bays(n int) map[string]Bay {
	all, last := map[string]Bay{}, ""
	for range n {
		name := r.name()
		if r.bad || name <= last {
			r.bad = true
			return nil
		}
		last, all[name] = name, r.bay()
	}
	return all
}

func (r *reader) bay() (b Bay) {
	flags := r.take(1)[0]
	b.Held, b.Visit, b.Doubted = flags&heldBit != 0, flags&visitBit != 0, flags&doubtedBit != 0
	r.bad = r.bad || flags&^(heldBit|visitBit|doubtedBit) != 0
	b.Newest = binary.BigEndian.Uint64(r.take(8))
	last := ""
	for range int(r.take(1)[0]) {
		name := r.name()
		if r.bad || name <= last {
			r.bad = true
			return Bay{}
		}
		last, b.Latches = name, append(b.Latches, name)
	}
	return b
}

func (r *reader) name() string { return string(r.take(int(r.take(1)[0]))) }

// take returns the next n bytes, zeros where there are none.
func (r *reader) take(n int) []byte {
	if n > len(r.rest) {
		r.rest, r.bad = nil, true
		return make([]byte, n)
	}
	part := r.rest[:n]
	r.rest = r.rest[n:]
	return part
}
