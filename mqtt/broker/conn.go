package broker

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"sync"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// conn is one connection of a client.
type conn struct {
	hub    *hub
	socket net.Conn
	in     *bufio.Reader
	wake   chan struct{}
	over   chan struct{} // closed by cut
	cut    func()

	// The hub's lock guards these.
	session *session
	will    *message
	answers []packets.ControlPacket
	last    bool // nothing follows the answers
}

func newConn(h *hub, socket net.Conn) *conn {
	c := &conn{hub: h, socket: socket, in: bufio.NewReader(socket), wake: make(chan struct{}, 1), over: make(chan struct{})}
	c.cut = sync.OnceFunc(func() {
		close(c.over)
		_ = c.socket.Close() // it is given up anyway
	})
	return c
}

// stir makes the writer look for packets.
func (c *conn) stir() {
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// write sends what there is to send until the connection is cut.
func (c *conn) write() {
	defer c.cut()
	for {
		select {
		case <-c.wake:
		case <-c.over:
			return
		}
		for {
			out, last := c.due()
			if last {
				_ = c.send(out)
				return
			}
			if len(out) == 0 {
				break
			}
			if c.send(out) != nil {
				return
			}
		}
	}
}

// due returns the packets to send: answers first, as a client waits for them.
func (c *conn) due() (out []packets.ControlPacket, last bool) {
	c.hub.mu.Lock()
	defer c.hub.mu.Unlock()
	out, c.answers = c.answers, nil
	if s := c.session; s != nil && s.conn == c {
		out = append(out, s.next()...)
	}
	return out, c.last
}

func (c *conn) send(out []packets.ControlPacket) error {
	var b bytes.Buffer
	for _, p := range out {
		if err := p.Write(&b); err != nil {
			return err
		}
	}
	if err := c.socket.SetWriteDeadline(time.Now().Add(writeFor)); err != nil {
		return err
	}
	_, err := c.socket.Write(b.Bytes())
	return err
}

// answer queues an answer. It needs the hub's lock.
func (c *conn) answer(p packets.ControlPacket) {
	c.answers = append(c.answers, p)
	c.stir()
}

// errPacket means that a packet is not valid here, or too large.
var errPacket = errors.New("the client sent an invalid packet")

// read handles packets until the client goes or breaks a rule.
func (c *conn) read() {
	limit := sayFirst
	p, err := c.packet(limit)
	if err != nil {
		return
	}
	first, ok := p.(*packets.ConnectPacket)
	if !ok {
		return
	}
	if !c.connect(first) {
		<-c.over // the writer cuts the connection after the answer
		return
	}
	limit = time.Duration(first.Keepalive) * time.Second * 3 / 2 // section 3.1.2.10
	for {
		p, err := c.packet(limit)
		if err != nil {
			return
		}
		if _, bye := p.(*packets.DisconnectPacket); bye {
			c.hub.mu.Lock()
			c.will = nil
			c.hub.mu.Unlock()
			return
		}
		if err := c.handle(p); err != nil {
			c.hub.log.Debug("broker: a client is dropped", "err", err)
			return
		}
	}
}

// packet reads one packet, within a time unless that is 0.
func (c *conn) packet(within time.Duration) (packets.ControlPacket, error) {
	var until time.Time
	if within > 0 {
		until = time.Now().Add(within)
	}
	if err := c.socket.SetReadDeadline(until); err != nil {
		return nil, err
	}
	first, err := c.in.ReadByte()
	if err != nil {
		return nil, err
	}
	length := 0
	for shift := 0; ; shift += 7 {
		b, err := c.in.ReadByte()
		if err != nil {
			return nil, err
		}
		length |= int(b&0x7f) << shift
		if b&0x80 == 0 {
			break
		}
		if shift == 21 {
			return nil, errPacket
		}
	}
	if length > maxPacket {
		return nil, errPacket
	}
	body := make([]byte, length)
	if _, err := io.ReadFull(c.in, body); err != nil {
		return nil, err
	}
	p, err := packets.NewControlPacketWithHeader(packets.FixedHeader{
		MessageType: first >> 4, Dup: first&8 > 0, Qos: first >> 1 & 3, Retain: first&1 > 0, RemainingLength: length,
	})
	if err != nil {
		return nil, err
	}
	return p, p.Unpack(bytes.NewReader(body))
}

// connect answers the first packet, and reports whether the client is in.
func (c *conn) connect(p *packets.ConnectPacket) bool {
	h := c.hub
	h.mu.Lock()
	defer h.mu.Unlock()
	refuse := func(code byte) bool {
		c.last = true
		c.answer(connack(code, false))
		return false
	}
	if p.ProtocolName != "MQTT" || p.ProtocolVersion != 4 {
		return refuse(packets.ErrRefusedBadProtocolVersion)
	}
	if code := p.Validate(); code != packets.Accepted {
		return refuse(code)
	}
	if p.ClientIdentifier == "" {
		p.ClientIdentifier = fmt.Sprintf("unnamed-%016x", rand.Uint64()) //nolint:gosec // it only differs
	}
	if p.WillFlag {
		if !validTopic(p.WillTopic) || p.WillQos > 2 || !h.rights.mayWrite(p.ClientIdentifier, p.WillTopic) {
			return refuse(packets.ErrRefusedNotAuthorised)
		}
		c.will = &message{p.WillTopic, p.WillMessage, p.WillQos, p.WillRetain}
	}
	present, room := h.join(c, p.ClientIdentifier, p.CleanSession)
	if !room {
		return refuse(packets.ErrRefusedServerUnavailable)
	}
	c.answer(connack(packets.Accepted, present))
	return true
}

// handle does what a packet asks for. After an error the client is dropped.
func (c *conn) handle(p packets.ControlPacket) error {
	h := c.hub
	h.mu.Lock()
	defer h.mu.Unlock()
	s := c.session
	if s.conn != c {
		return errors.New("another client took its id")
	}
	switch p := p.(type) {
	case *packets.PublishPacket:
		return c.publish(p)
	case *packets.PubackPacket:
		s.acknowledged(p.MessageID)
	case *packets.PubrecPacket:
		s.taken(p.MessageID)
		c.answer(ack(packets.Pubrel, p.MessageID))
	case *packets.PubcompPacket:
		s.acknowledged(p.MessageID)
	case *packets.PubrelPacket:
		delete(s.received, p.MessageID)
		c.answer(ack(packets.Pubcomp, p.MessageID))
	case *packets.SubscribePacket:
		if len(p.Topics) == 0 {
			return errPacket
		}
		codes := h.subscribe(s, p.Topics, p.Qoss)
		a := packets.NewControlPacket(packets.Suback).(*packets.SubackPacket) //nolint:errcheck,forcetypeassert // the library's own pair
		a.MessageID, a.ReturnCodes = p.MessageID, codes
		c.answer(a)
		for i, code := range codes {
			if code <= 2 {
				h.catchUp(s, p.Topics[i], code)
			}
		}
	case *packets.UnsubscribePacket:
		for _, filter := range p.Topics {
			delete(s.filters, filter)
		}
		c.answer(ack(packets.Unsuback, p.MessageID))
	case *packets.PingreqPacket:
		c.answer(packets.NewControlPacket(packets.Pingresp))
	default:
		return errPacket
	}
	c.stir()
	return nil
}

// publish takes a message from the client. A 3.1.1 broker can only drop a client that
// publishes without the right, or take the message and lose it: section 3.3.5.
func (c *conn) publish(p *packets.PublishPacket) error {
	h, s := c.hub, c.session
	if !validTopic(p.TopicName) || p.Qos > 2 || p.Qos > 0 && p.MessageID == 0 {
		return errPacket
	}
	if !h.rights.mayWrite(s.id, p.TopicName) {
		return fmt.Errorf("%s may not publish to %s", s.id, p.TopicName)
	}
	m := message{p.TopicName, p.Payload, p.Qos, p.Retain}
	switch p.Qos {
	case 0:
		h.publish(m)
	case 1:
		h.publish(m)
		c.answer(ack(packets.Puback, p.MessageID))
	case 2:
		if !s.received[p.MessageID] {
			if len(s.received) >= maxQueued {
				return errPacket
			}
			s.received[p.MessageID] = true
			h.publish(m)
		}
		c.answer(ack(packets.Pubrec, p.MessageID))
	}
	return nil
}

// ack makes a packet that has only an id.
func ack(kind byte, id uint16) packets.ControlPacket {
	p := packets.NewControlPacket(kind)
	switch p := p.(type) {
	case *packets.PubackPacket:
		p.MessageID = id
	case *packets.PubrecPacket:
		p.MessageID = id
	case *packets.PubrelPacket:
		p.MessageID = id
	case *packets.PubcompPacket:
		p.MessageID = id
	case *packets.UnsubackPacket:
		p.MessageID = id
	}
	return p
}
