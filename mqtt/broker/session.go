package broker

import (
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// session is what the broker keeps of a client: section 4.1. The hub's lock guards it.
type session struct {
	id      string
	clean   bool // it ends with its connection
	conn    *conn
	left    time.Time // when its connection ended
	filters map[string]byte
	full    bool // messages are being dropped

	// waiting are messages that the client has not acknowledged, in the order in which
	// they were published. Its packet ids are the broker's; received has the client's.
	waiting  []*delivery
	bytes    int
	inFlight map[uint16]*delivery
	lastID   uint16
	received map[uint16]bool // QoS 2 messages of the client that it has not released
}

// delivery is one message on its way to one client.
type delivery struct {
	message
	id       uint16 // 0 before it is first sent
	sent     bool   // on this connection
	dup      bool   // it was sent on an earlier one
	got      bool   // QoS 2: the client has it, and is to be told to release it
	finished bool
}

func newSession(id string, clean bool) *session {
	return &session{
		id: id, clean: clean, filters: map[string]byte{}, inFlight: map[uint16]*delivery{}, received: map[uint16]bool{},
	}
}

// wants returns the quality with which a session wants a topic: of several filters the
// highest, and one message.
func (s *session) wants(topic string) (qos byte, wanted bool) {
	for filter, q := range s.filters {
		if matches(filter, topic) {
			qos, wanted = max(qos, q), true
		}
	}
	return qos, wanted
}

// queue adds a message, and reports whether there was room.
func (s *session) queue(m message) bool {
	if len(s.waiting) >= maxQueued || s.bytes+len(m.payload) > maxBytes {
		return false
	}
	s.waiting = append(s.waiting, &delivery{message: m})
	s.bytes += len(m.payload)
	return true
}

// again makes everything that is not acknowledged be sent again on a new connection,
// in the same order: section 4.6.
func (s *session) again() {
	kept := s.waiting[:0]
	for _, d := range s.waiting {
		if d.qos == 0 { // meant for the connection that is gone
			s.bytes -= len(d.payload)
			continue
		}
		d.dup, d.sent = d.dup || d.sent, false
		kept = append(kept, d)
	}
	s.waiting = kept
}

// next returns the packets that are to be sent now.
func (s *session) next() (out []packets.ControlPacket) {
	on := 0 // in flight on this connection
	for _, d := range s.waiting {
		if on >= window {
			break
		}
		if d.sent {
			if !d.finished {
				on++
			}
			continue
		}
		d.sent = true
		if d.got {
			out = append(out, ack(packets.Pubrel, d.id))
			on++
			continue
		}
		if d.qos == 0 {
			d.finished = true
		} else {
			s.number(d)
			on++
		}
		out = append(out, d.packet())
	}
	s.clear()
	return out
}

// number gives a delivery a packet id that no other has.
func (s *session) number(d *delivery) {
	for d.id == 0 || s.inFlight[d.id] != nil && s.inFlight[d.id] != d {
		s.lastID++
		d.id = s.lastID
	}
	s.inFlight[d.id] = d
}

func (d *delivery) packet() packets.ControlPacket {
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket) //nolint:errcheck,forcetypeassert // the library's own pair
	p.TopicName, p.Payload, p.Qos, p.Retain, p.Dup, p.MessageID = d.topic, d.payload, d.qos, d.retained, d.dup, d.id
	return p
}

// acknowledged ends a delivery: PUBACK, PUBCOMP.
func (s *session) acknowledged(id uint16) {
	if d := s.inFlight[id]; d != nil {
		d.finished = true
		delete(s.inFlight, id)
		s.clear()
	}
}

// taken notes that the client has a QoS 2 message: PUBREC.
func (s *session) taken(id uint16) {
	if d := s.inFlight[id]; d != nil {
		d.got = true
	}
}

// clear drops what is finished from the front of the queue. What is finished behind
// something that is not stays until then.
func (s *session) clear() {
	for len(s.waiting) > 0 && s.waiting[0].finished {
		s.bytes -= len(s.waiting[0].payload)
		s.waiting[0] = nil
		s.waiting = s.waiting[1:]
	}
}
