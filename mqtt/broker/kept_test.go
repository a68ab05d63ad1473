package broker_test

import (
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

// TestKeptWhileRead: what the broker keeps is changed, cleared and replaced by wills while
// others subscribe to it. Whoever subscribes gets each message that was there, under its
// own topic (MQTT 3.1.1, 3.3.1.3). Under the race detector it also shows that nothing is
// read while it is written.
func TestKeptWhileRead(t *testing.T) {
	const topics, rounds = 20, 40
	b := start(t, "")
	topic := func(n int) string { return fmt.Sprintf("bayward/s/a/bay-%d/state", n) }
	agent, _, err := connect(t, b, "agent-a", "bayward/s/a/status")
	require.NoError(t, err)
	for n := range topics {
		require.NoError(t, done(t, agent.Publish(topic(n), 1, true, topic(n))))
	}
	require.NoError(t, done(t, agent.Subscribe("nothing", 0, nil)), "the last one is kept")
	ended := make(chan error, 1)
	go func() {
		var err error
		for i := 0; i < rounds*topics && err == nil; i++ {
			tok := agent.Publish(topic(i%topics), 1, true, topic(i%topics))
			if i%5 == 0 { // beside them, topics that come and go
				agent.Publish(fmt.Sprintf("bayward/s/a/bay-%d/notice", i), 1, true, "x")
				agent.Publish(fmt.Sprintf("bayward/s/a/bay-%d/notice", i), 1, true, "")
			}
			tok.Wait()
			err = tok.Error()
		}
		ended <- err
	}()
	for i := range rounds {
		reader, _, err := connect(t, b, fmt.Sprintf("reader-%d", i), "")
		require.NoError(t, err)
		var wrong atomic.Int32
		seen := make(chan string, 10*rounds*topics)
		require.NoError(t, done(t, reader.Subscribe("bayward/+/+/+/state", 1, func(_ paho.Client, m paho.Message) {
			if m.Topic() != string(m.Payload()) {
				wrong.Add(1)
			}
			if m.Retained() {
				seen <- m.Topic()
			}
		})))
		all := map[string]bool{}
		for len(all) < topics {
			select {
			case topic := <-seen:
				all[topic] = true
			case <-time.After(time.Minute):
				t.Fatalf("reader %d got %d of %d", i, len(all), topics)
			}
		}
		require.Zero(t, wrong.Load())
		reader.Disconnect(0)
	}
	require.NoError(t, <-ended)
}
