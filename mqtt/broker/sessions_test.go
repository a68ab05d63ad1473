package broker_test

import (
	"errors"
	"fmt"
	"net"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"

	"bayward/mqtt/broker"
)

// TestKeepsNoSession: a client that wants to get what it missed is told at once that
// this broker can't do it (MQTT 3.1.1, 3.2.2.3, return code 5), not by a gap later.
func TestKeepsNoSession(t *testing.T) {
	b := start(t, "")
	o := paho.NewClientOptions().AddBroker(b.URL()).SetClientID("my-history").SetProtocolVersion(4).
		SetAutoReconnect(false).SetConnectTimeout(10 * time.Second).SetCleanSession(false)
	c := paho.NewClient(o)
	t.Cleanup(func() { c.Disconnect(0) })
	if err := done(t, c.Connect()); !errors.Is(err, packets.ErrorRefusedNotAuthorised) {
		t.Fatalf("a session that stays: %v, want a refusal", err)
	}
	c = paho.NewClient(o.SetCleanSession(true))
	t.Cleanup(func() { c.Disconnect(0) })
	if err := done(t, c.Connect()); err != nil {
		t.Fatalf("a session of one connection: %v", err)
	}
}

// TestIDsOfBothDirections: a client subscribes and unsubscribes with packet ids that the
// broker uses for messages that the client hasn't acknowledged yet. The ids of the two
// directions are independent (MQTT 3.1.1, 2.3.1), so each is granted, and each message
// comes once.
func TestIDsOfBothDirections(t *testing.T) {
	const retained = 20
	b := start(t, "")
	agent, _, err := connect(t, b, "agent-a", "")
	if err != nil {
		t.Fatal(err)
	}
	for n := range retained {
		if err := done(t, agent.Publish(fmt.Sprintf("bayward/s/a/bay-%d/state", n), 1, true, "x")); err != nil {
			t.Fatal(err)
		}
	}
	// The library acknowledges a message before it passes it on, and takes a client's packets
	// in turn: once this is answered, the last message is not under way any more.
	if err := done(t, agent.Subscribe("nothing", 0, nil)); err != nil {
		t.Fatal(err)
	}
	r := dialRaw(t, b)
	seen := map[string]int{}
	ids := map[uint16]bool{}
	r.subscribe(1, "bayward/s/#", seen, ids)
	for len(seen) < retained {
		r.hear(seen, ids)
	}
	for id := range ids { // none of them acknowledged
		r.subscribe(id, "bayward/other/#", seen, ids)
	}
	for id := range ids {
		r.acknowledge(id)
	}
	if err := done(t, agent.Publish("bayward/s/a/bay-0/event", 1, false, "1")); err != nil {
		t.Fatal(err)
	}
	for seen["bayward/s/a/bay-0/event"] == 0 {
		r.hear(seen, ids)
	}
	for topic, n := range seen {
		if n != 1 {
			t.Errorf("%s came %d times", topic, n)
		}
	}
}

// raw is a client that is led packet by packet.
type raw struct {
	t    *testing.T
	conn net.Conn
}

func dialRaw(t *testing.T, b *broker.Broker) raw {
	t.Helper()
	conn, err := net.DialTimeout("tcp", b.Addr(), 10*time.Second)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	if err := conn.SetDeadline(time.Now().Add(60 * time.Second)); err != nil {
		t.Fatal(err)
	}
	r := raw{t, conn}
	p := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	p.ProtocolName, p.ProtocolVersion, p.ClientIdentifier, p.CleanSession = "MQTT", 4, "raw", true
	r.say(p)
	if ack, ok := r.hear(nil, nil).(*packets.ConnackPacket); !ok || ack.ReturnCode != packets.Accepted {
		t.Fatalf("answer %v", ack)
	}
	return r
}

func (r raw) say(p packets.ControlPacket) {
	r.t.Helper()
	if err := p.Write(r.conn); err != nil {
		r.t.Fatal(err)
	}
}

// hear reads one packet, and counts it if it is a message.
func (r raw) hear(seen map[string]int, ids map[uint16]bool) packets.ControlPacket {
	r.t.Helper()
	p, err := packets.ReadPacket(r.conn)
	if err != nil {
		r.t.Fatal(err)
	}
	if m, ok := p.(*packets.PublishPacket); ok {
		seen[m.TopicName]++
		ids[m.MessageID] = true
	}
	return p
}

func (r raw) subscribe(id uint16, filter string, seen map[string]int, ids map[uint16]bool) {
	r.t.Helper()
	p := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	p.MessageID, p.Topics, p.Qoss = id, []string{filter}, []byte{1}
	r.say(p)
	for {
		if ack, ok := r.hear(seen, ids).(*packets.SubackPacket); ok {
			if ack.MessageID != id || ack.ReturnCodes[0] != 1 {
				r.t.Fatalf("SUBSCRIBE %d with a message of that id on its way: %#x", id, ack.ReturnCodes)
			}
			return
		}
	}
}

func (r raw) acknowledge(id uint16) {
	r.t.Helper()
	p := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
	p.MessageID = id
	r.say(p)
}
