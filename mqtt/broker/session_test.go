package broker_test

import (
	"fmt"
	"net"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"

	"bayward/mqtt/broker"
)

const history = "bayward/quarry-road/shed-2/bay-1/event"

// raw is a client that the tests lead packet by packet.
type raw struct {
	t    *testing.T
	conn net.Conn
}

// dialRaw connects with a session that stays, and returns whether there was one.
func dialRaw(t *testing.T, b *broker.Broker, id string, clean bool) (raw, bool) {
	t.Helper()
	conn, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	r := raw{t, conn}
	p := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	p.ProtocolName, p.ProtocolVersion, p.ClientIdentifier, p.CleanSession = "MQTT", 4, id, clean
	r.say(p)
	ack, ok := r.hear().(*packets.ConnackPacket)
	if !ok || ack.ReturnCode != packets.Accepted {
		t.Fatalf("answer %v", ack)
	}
	return r, ack.SessionPresent
}

func (r raw) say(p packets.ControlPacket) {
	r.t.Helper()
	if err := p.Write(r.conn); err != nil {
		r.t.Fatal(err)
	}
}

func (r raw) hear() packets.ControlPacket {
	r.t.Helper()
	if err := r.conn.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
		r.t.Fatal(err)
	}
	p, err := packets.ReadPacket(r.conn)
	if err != nil {
		r.t.Fatal(err)
	}
	return p
}

func (r raw) subscribe(id uint16, qos byte) *packets.SubackPacket {
	r.t.Helper()
	p := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	p.MessageID, p.Topics, p.Qoss = id, []string{"bayward/+/+/+/event"}, []byte{qos}
	r.say(p)
	for {
		if ack, ok := r.hear().(*packets.SubackPacket); ok {
			return ack
		}
	}
}

func (r raw) message() *packets.PublishPacket {
	r.t.Helper()
	for {
		if p, ok := r.hear().(*packets.PublishPacket); ok {
			return p
		}
	}
}

func (r raw) ack(kind byte, id uint16) {
	r.t.Helper()
	switch p := packets.NewControlPacket(kind).(type) {
	case *packets.PubackPacket:
		p.MessageID = id
		r.say(p)
	case *packets.PubrecPacket:
		p.MessageID = id
		r.say(p)
	case *packets.PubcompPacket:
		p.MessageID = id
		r.say(p)
	}
}

func publisher(t *testing.T, b *broker.Broker) func(from, to int, qos byte) {
	t.Helper()
	agent, _, err := connect(t, b, "agent-a", "")
	if err != nil {
		t.Fatal(err)
	}
	return func(from, to int, qos byte) {
		t.Helper()
		for n := from; n <= to; n++ {
			if err := done(t, agent.Publish(history, qos, false, fmt.Sprint(n))); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// TestReturningReader: a reader with a session that stays gets what was published
// while it was away, in order, whether it had acknowledged or not (MQTT 3.1.1,
// sections 4.1, 4.4 and 4.6), and its second SUBSCRIBE is granted although its packet
// id is one that the broker uses for a message.
func TestReturningReader(t *testing.T) {
	const all = 300
	b := start(t, "")
	publish := publisher(t, b)
	r, present := dialRaw(t, b, "my-history", false)
	if present {
		t.Error("a session before the first")
	}
	r.subscribe(1, 1)
	publish(1, 40, 1)
	for n := 1; n <= 16; n++ { // the window; the first five are acknowledged
		m := r.message()
		if string(m.Payload) != fmt.Sprint(n) || m.Dup {
			t.Fatalf("%d: %s, again %v", n, m.Payload, m.Dup)
		}
		if n <= 5 {
			r.ack(packets.Puback, m.MessageID)
		}
	}
	_ = r.conn.Close() // killed
	publish(41, all, 1)

	r, present = dialRaw(t, b, "my-history", false)
	if !present {
		t.Error("the session is gone")
	}
	for id := uint16(1); id <= 20; id++ {
		if codes := r.subscribe(id, 1).ReturnCodes; len(codes) != 1 || codes[0] != 1 {
			t.Fatalf("SUBSCRIBE %d is answered with %v", id, codes)
		}
	}
	_ = r.conn.Close() // without having acknowledged anything

	r, _ = dialRaw(t, b, "my-history", false)
	ids := map[uint16]bool{}
	for n := 6; n <= all; n++ {
		m := r.message()
		if string(m.Payload) != fmt.Sprint(n) {
			t.Fatalf("%s, want %d", m.Payload, n)
		}
		if ids[m.MessageID] {
			t.Fatalf("packet id %d twice", m.MessageID)
		}
		ids[m.MessageID] = true
		r.ack(packets.Puback, m.MessageID)
	}
	r.say(packets.NewControlPacket(packets.Pingreq)) // the answer shows that the acknowledgements arrived
	if p, ok := r.hear().(*packets.PingrespPacket); !ok {
		t.Fatalf("%v, want a PINGRESP", p)
	}
	_ = r.conn.Close()
	publish(all+1, all+1, 1)
	r, _ = dialRaw(t, b, "my-history", false)
	if m := r.message(); string(m.Payload) != fmt.Sprint(all+1) {
		t.Errorf("%s after everything was acknowledged", m.Payload)
	}
	_ = r.conn.Close()
	if _, present = dialRaw(t, b, "my-history", true); present {
		t.Error("a clean session was given the old one")
	}
}

// TestExactlyOnce: QoS 2 in both directions over a lost connection (section 4.3.3).
func TestExactlyOnce(t *testing.T) {
	b := start(t, "")
	publish := publisher(t, b)
	r, _ := dialRaw(t, b, "exact", false)
	r.subscribe(1, 2)
	publish(1, 2, 2)
	first := r.message()
	r.ack(packets.Pubrec, first.MessageID)
	for {
		if _, ok := r.hear().(*packets.PubrelPacket); ok {
			break
		}
	}
	_ = r.conn.Close() // before the last step
	r, _ = dialRaw(t, b, "exact", false)
	rel, ok := r.hear().(*packets.PubrelPacket)
	if !ok || rel.MessageID != first.MessageID {
		t.Fatalf("%v, want the release of %d", rel, first.MessageID)
	}
	r.ack(packets.Pubcomp, rel.MessageID)
	if m := r.message(); string(m.Payload) != "2" || m.Qos != 2 || !m.Dup {
		t.Errorf("then %s, QoS %d, again %v", m.Payload, m.Qos, m.Dup)
	}

	// The same packet twice from a client is one message.
	sender, _ := dialRaw(t, b, "sender", true)
	got := make(chan string, 10)
	reader, _, err := connect(t, b, "reader", "")
	if err != nil {
		t.Fatal(err)
	}
	const command = "bayward/quarry-road/shed-2/bay-1/command"
	if err := done(t, reader.Subscribe(command, 2, func(_ paho.Client, m paho.Message) { got <- string(m.Payload()) })); err != nil {
		t.Fatal(err)
	}
	for _, payload := range []string{"once", "once", "then"} {
		p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
		p.TopicName, p.Payload, p.Qos, p.MessageID = command, []byte(payload), 2, 7
		if payload == "then" {
			p.MessageID = 8
		}
		sender.say(p)
		if _, ok := sender.hear().(*packets.PubrecPacket); !ok {
			t.Fatal("no PUBREC")
		}
	}
	for _, want := range []string{"once", "then"} {
		select {
		case m := <-got:
			if m != want {
				t.Errorf("%s, want %s", m, want)
			}
		case <-time.After(20 * time.Second):
			t.Fatal("nothing comes")
		}
	}
}

// TestOtherVersions: a client of another version is told so (section 3.1.2.2).
func TestOtherVersions(t *testing.T) {
	b := start(t, "")
	for _, version := range []byte{3, 5} {
		conn, err := net.Dial("tcp", b.Addr())
		if err != nil {
			t.Fatal(err)
		}
		hello := []byte{0x10, 13, 0, 4, 'M', 'Q', 'T', 'T', version, 2, 0, 60, 0, 1, 'a'}
		if _, err := conn.Write(hello); err != nil {
			t.Fatal(err)
		}
		r := raw{t, conn}
		ack, ok := r.hear().(*packets.ConnackPacket)
		if !ok || ack.ReturnCode != 1 {
			t.Errorf("version %d: %v", version, ack)
		}
		_ = conn.Close()
	}
}

// TestFilters: the examples of MQTT 3.1.1, section 4.7.
func TestFilters(t *testing.T) {
	for _, row := range []struct {
		filter, topic string
		want          bool
	}{
		{"sport/tennis/player1/#", "sport/tennis/player1", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/score/final", true},
		{"sport/#", "sport", true},
		{"sport/tennis/+", "sport/tennis/player1", true},
		{"sport/tennis/+", "sport/tennis/player1/ranking", false},
		{"sport/+", "sport", false},
		{"sport/+", "sport/", true},
		{"+/+", "/finance", true},
		{"/+", "/finance", true},
		{"+", "/finance", false},
		{"#", "$SYS/monitor/Clients", false},
		{"+/monitor/Clients", "$SYS/monitor/Clients", false},
		{"$SYS/#", "$SYS/monitor/Clients", true},
		{"ACCOUNTS", "Accounts", false},
	} {
		if got := broker.Matches(row.filter, row.topic); got != row.want {
			t.Errorf("%s covers %s: %v", row.filter, row.topic, got)
		}
	}
	for filter, want := range map[string]bool{
		"#": true, "sport/tennis/#": true, "sport/tennis#": false, "sport/tennis/#/ranking": false,
		"+": true, "+/tennis/#": true, "sport+": false, "sport/+/player1": true, "": false,
	} {
		if got := broker.ValidFilter(filter); got != want {
			t.Errorf("filter %q: %v", filter, got)
		}
	}
}

// FuzzClient sends anything to the broker, which goes on serving others.
func FuzzClient(f *testing.F) {
	hello := []byte{0x10, 13, 0, 4, 'M', 'Q', 'T', 'T', 4, 2, 0, 60, 0, 1, 'a'}
	f.Add(hello)
	f.Add(append(hello, 0x82, 6, 0, 1, 0, 1, '#', 1, 0x82, 2, 0, 1, 0xe0, 0))
	f.Add(append(hello, 0x34, 5, 0, 1, 'a', 0, 1, 0x62, 2, 0, 1, 0x40, 2, 0, 9, 0xc0, 0))
	f.Add([]byte{0x10, 0xff, 0xff, 0xff, 0xff, 1})
	f.Add([]byte{0x82, 1, 0})
	f.Fuzz(func(t *testing.T, says []byte) {
		b := start(t, "")
		conn, err := net.Dial("tcp", b.Addr())
		if err != nil {
			t.Fatal(err)
		}
		_, _ = conn.Write(says)
		other, _ := dialRaw(t, b, "other", true)
		other.subscribe(1, 1)
		_ = conn.Close()
		_ = b.Close()
	})
}
