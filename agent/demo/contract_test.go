package demo

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"maps"
	"slices"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"bayward/mqtt/mqtttest"
)

// wanted is what the demo must have published for the test to pass: each channel,
// and each shape of its messages.
func wanted() map[string]bool {
	out := map[string]bool{}
	for _, w := range []string{
		"status online", "state waiting", "state charging", "state cooling", "state watering", "state with findings",
		"state with a visit", "state with faults", "state with water_ml", "state with ready_in_s", "state with full_evidence",
		"event stage-changed", "event finding-raised", "event finding-cleared", "event permit-granted", "event permit-blocked",
		"event charge-started", "event charge-full", "event charge-ended", "event visit-opened", "event visit-closed", "event order-taken",
		"notice raised", "notice seen", "notice settled", "response done", "response refused", "command",
	} {
		out[w] = true
	}
	return out
}

// features returns the entries of wanted that a payload matches.
func features(t *testing.T, channel string, payload []byte) []string {
	t.Helper()
	var m map[string]any
	if err := json.Unmarshal(payload, &m); err != nil {
		t.Fatal(err)
	}
	out := []string{channel}
	for _, key := range []string{"state", "stage", "kind", "result"} {
		if text, ok := m[key].(string); ok {
			out = append(out, channel+" "+text)
		}
	}
	for _, key := range []string{"findings", "faults"} {
		if list, _ := m[key].([]any); len(list) > 0 {
			out = append(out, channel+" with "+key)
		}
	}
	for _, key := range []string{"water_ml", "ready_in_s", "full_evidence"} {
		if m[key] != nil {
			out = append(out, channel+" with "+key)
		}
	}
	if m["visit"] != nil {
		out = append(out, channel+" with a visit")
	}
	return out
}

// TestDemoKeepsTheContract checks everything that the demo publishes in a whole
// round against mqtt/asyncapi.yaml.
func TestDemoKeepsTheContract(t *testing.T) {
	contract, err := mqtttest.Load()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	o := &Options{Bays: 4, Speed: maxSpeed, Listen: "127.0.0.1:0", Broker: "127.0.0.1:0"}
	d, err := build(ctx, o, io.Discard, slog.New(slog.DiscardHandler), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	reader, got := mqtttest.ReadAll(t, d.broker.URL())
	ended := make(chan error, 1)
	go func() { ended <- d.run(ctx, o.Speed) }()

	missing, n, patience := wanted(), 0, time.After(3*time.Minute)
	asked := false
	for len(missing) > 0 {
		select {
		case m := <-got:
			n++
			channel, err := contract.Check(m.Topic(), m.Payload())
			if err != nil && string(m.Payload()) != garbage {
				t.Fatal(err)
			}
			if string(m.Payload()) != garbage {
				for _, f := range features(t, channel, m.Payload()) {
					delete(missing, f)
				}
			}
			if !asked && channel == "status" { // the agent subscribes before it publishes its birth message
				asked = true
				holdByBroker(t, reader)
			}
		case err := <-ended:
			t.Fatalf("the demo ended: %v", err)
		case <-patience:
			t.Fatalf("after %d messages the demo has not said: %q", n, slices.Sorted(maps.Keys(missing)))
		}
	}
	t.Logf("figure: demo messages checked against the contract %d", n)
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

const garbage = "this is no command"

// holdByBroker holds the bay with the broken probe, and sends an invalid command.
func holdByBroker(t *testing.T, reader paho.Client) {
	t.Helper()
	topic := "bayward/quarry-road/shed-2/bay-3/command"
	for _, payload := range []string{
		`{"v":1,"id":"h-1","order":"hold","by":"A. Person","time":"` + time.Now().UTC().Format(time.RFC3339) + `"}`, garbage,
	} {
		mqtttest.Await(t, reader.Publish(topic, 1, false, payload))
	}
}
