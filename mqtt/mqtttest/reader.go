package mqtttest

import (
	paho "github.com/eclipse/paho.mqtt.golang"

	"strings"
	"testing"
	"time"
)

// ReadAll subscribes to every topic of a broker, except those about the broker
// itself. The client may also publish.
func ReadAll(t *testing.T, broker string) (paho.Client, <-chan paho.Message) {
	t.Helper()
	got := make(chan paho.Message, 100_000)
	reader := paho.NewClient(paho.NewClientOptions().AddBroker(broker).SetClientID("reader").SetProtocolVersion(4).SetAutoReconnect(false))
	Await(t, reader.Connect())
	t.Cleanup(func() { reader.Disconnect(0) })
	Await(t, reader.Subscribe("#", 1, func(_ paho.Client, m paho.Message) {
		if !strings.HasPrefix(m.Topic(), "$") {
			got <- m
		}
	}))
	Await(t, reader.Unsubscribe("nothing")) // answered after what the broker keeps has been read
	return reader, got
}

// Await waits for the broker's answer.
func Await(t *testing.T, tok paho.Token) {
	t.Helper()
	select {
	case <-tok.Done():
		if tok.Error() != nil {
			t.Fatal(tok.Error())
		}
	case <-time.After(time.Minute):
		t.Fatal("the broker does not answer")
	}
}
