package broker_test

import (
	"errors"
	"log/slog"
	"net"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"go.uber.org/goleak"

	"bayward/mqtt/broker"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func start(t *testing.T, listen string) *broker.Broker {
	t.Helper()
	b, err := broker.Start(t.Context(), broker.Options{
		Listen: listen, Agents: []string{"agent-a"}, Log: slog.New(slog.DiscardHandler),
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

// connect returns a client, or why the broker refused it, and a channel that
// is closed when the broker drops it.
func connect(t *testing.T, b *broker.Broker, id, will string) (paho.Client, <-chan struct{}, error) {
	t.Helper()
	dropped := make(chan struct{})
	o := paho.NewClientOptions().AddBroker(b.URL()).SetClientID(id).SetProtocolVersion(4).
		SetAutoReconnect(false).SetConnectTimeout(10 * time.Second).
		SetConnectionLostHandler(func(paho.Client, error) { close(dropped) })
	if will != "" {
		o.SetBinaryWill(will, []byte("x"), 1, true)
	}
	c := paho.NewClient(o)
	t.Cleanup(func() { c.Disconnect(100) })
	return c, dropped, done(t, c.Connect())
}

func done(t *testing.T, tok paho.Token) error {
	t.Helper()
	select {
	case <-tok.Done():
		return tok.Error()
	case <-time.After(20 * time.Second):
		t.Fatal("the broker does not answer")
		return nil
	}
}

func TestRights(t *testing.T) {
	b := start(t, "")
	const state, command = "bayward/quarry-road/shed-2/bay-1/state", "bayward/quarry-road/shed-2/bay-1/command"
	for _, c := range []struct {
		client, topic string
		may           bool
	}{
		{"agent-a", state, true},
		{"agent-a", "bayward/quarry-road/shed-2/status", true},
		{"agent-a", "other/topic", false},
		{"somebody", command, true},
		{"somebody", state, false},
		{"somebody", "bayward/quarry-road/shed-2/status", false},
		{"somebody", "bayward/quarry-road/shed-2/bay-1/event", false},
		{"somebody", "bayward/command", false},
		{"somebody", "bayward/a/b/c/d/command", false},
		{"agent-ab", state, false},
	} {
		client, dropped, err := connect(t, b, c.client, "")
		if err != nil {
			t.Fatal(err)
		}
		if err := done(t, client.Subscribe("bayward/#", 1, nil)); err != nil {
			t.Errorf("%s may not read: %v", c.client, err)
		}
		// A 3.1.1 broker can only drop a client that publishes without the right
		// (MQTT 3.1.1, section 3.3.5).
		tok := client.Publish(c.topic, 1, false, "x")
		select {
		case <-tok.Done():
		case <-dropped:
		case <-time.After(20 * time.Second):
			t.Fatal("neither acknowledged nor dropped")
		}
		if may := client.IsConnectionOpen() && tok.Error() == nil; may != c.may {
			t.Errorf("%s writes %s: %v, want %v", c.client, c.topic, may, c.may)
		}
		client.Disconnect(100)
		_, _, err = connect(t, b, c.client, c.topic)
		if may := err == nil; may != c.may {
			t.Errorf("%s has a will on %s: %v, want %v", c.client, c.topic, may, c.may)
		}
	}
}

func TestTakenPort(t *testing.T) {
	b := start(t, "127.0.0.1:0")
	_, err := broker.Start(t.Context(), broker.Options{Listen: b.Addr(), Log: slog.New(slog.DiscardHandler)})
	if !errors.Is(err, broker.ErrTaken) || !strings.Contains(err.Error(), b.Addr()) {
		t.Errorf("got %v, want ErrTaken with the address %s", err, b.Addr())
	}
}

func TestLoopbackOnly(t *testing.T) {
	for _, address := range []string{"0.0.0.0:0", "[::]:0", "192.0.2.1:0", "example.org:0"} {
		_, err := broker.Start(t.Context(), broker.Options{Listen: address, Log: slog.New(slog.DiscardHandler)})
		if !errors.Is(err, broker.ErrNotLoopback) {
			t.Errorf("%s: %v, want ErrNotLoopback", address, err)
		}
	}
	for _, address := range []string{"", ":0", "localhost:0", "127.0.0.1:0", "127.1.2.3:0"} {
		host, _, err := net.SplitHostPort(start(t, address).Addr())
		if err != nil || !net.ParseIP(host).IsLoopback() {
			t.Errorf("%q listens at %s, %v", address, host, err)
		}
	}
	if _, err := broker.Start(t.Context(), broker.Options{Listen: "1883", Log: slog.New(slog.DiscardHandler)}); err == nil {
		t.Error("a port without a host was taken")
	}
}

func TestOversizedPacketIsRefused(t *testing.T) {
	b := start(t, "")
	client, dropped, err := connect(t, b, "agent-a", "")
	if err != nil {
		t.Fatal(err)
	}
	client.Publish("bayward/a/b/status", 1, false, make([]byte, 100<<10))
	select {
	case <-dropped:
	case <-time.After(20 * time.Second):
		t.Error("a message of 100 KiB was taken")
	}
}
