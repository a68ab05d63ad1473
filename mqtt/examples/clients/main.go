// Command clients reads an agent with clients that are generated from its contracts: the bays from its
// page, then every message from its broker until it is interrupted.
//
//	clients PAGE BROKER [BAY NAME]
//	clients http://127.0.0.1:8080 mqtt://127.0.0.1:1883
//
// With BAY and NAME it also puts that bay on hold in that person's name, which is always safe. Generate the
// clients first: go generate ./...
package main

import (
	"context"
	"encoding/json"
	"fmt"
	"log"
	"os"
	"os/signal"
	"strings"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"bayward/mqtt/examples/clients/bays"
	"bayward/mqtt/examples/clients/messages"
)

func main() {
	log.SetFlags(0)
	if n := len(os.Args); n != 3 && n != 5 {
		log.Fatal("usage: clients PAGE BROKER [BAY NAME]")
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1], os.Args[2], os.Args[3:]); err != nil {
		log.Fatal(err)
	}
}

func run(ctx context.Context, page, broker string, hold []string) error {
	client, err := bays.NewClientWithResponses(page)
	if err != nil {
		return err
	}
	all, err := client.ListBaysWithResponse(ctx)
	if err != nil {
		return err
	}
	if all.JSON200 == nil {
		return fmt.Errorf("%s: %s", all.Status(), all.Body)
	}
	for _, b := range all.JSON200.Bays {
		fmt.Println("page", b.Bay, b.Stage, b.Permit, level(b.LevelMm), b.Says)
	}
	topic := "bayward/" + all.JSON200.Site + "/" + all.JSON200.Agent + "/#"
	reader, err := follow(ctx, broker, topic)
	if err != nil {
		return err
	}
	defer reader.Disconnect(250)
	if len(hold) > 0 {
		if err := put(ctx, client, hold[0], hold[1]); err != nil {
			return err
		}
	}
	<-ctx.Done()
	return nil
}

// put puts a bay on hold.
func put(ctx context.Context, client *bays.ClientWithResponses, bay, name string) error {
	action, reason := bays.HoldOrderHoldActionHold, "Trying the generated client."
	order := bays.HoldOrder{Action: string(action), By: &name}
	if err := order.FromHoldOrderHold(bays.HoldOrderHold{Action: action, Reason: &reason}); err != nil {
		return err
	}
	answer, err := client.OrderHoldWithResponse(ctx, bay, order)
	switch {
	case err != nil:
		return err
	case answer.JSON200 != nil:
		fmt.Println("hold", answer.JSON200.Bay, answer.JSON200.Text)
	case answer.JSON202 != nil:
		fmt.Println("hold", answer.JSON202.Bay, answer.JSON202.Text, "It is not on record yet.")
	default:
		return fmt.Errorf("%s: %s", answer.Status(), answer.Body)
	}
	return nil
}

// follow prints the messages of an agent.
func follow(ctx context.Context, broker, topic string) (mqtt.Client, error) {
	set := mqtt.NewClientOptions().AddBroker(broker).SetProtocolVersion(4).SetOrderMatters(true)
	set.SetOnConnectHandler(func(c mqtt.Client) {
		c.Subscribe(topic, 1, func(_ mqtt.Client, m mqtt.Message) { fmt.Println(read(m.Topic(), m.Payload())) })
	})
	reader := mqtt.NewClient(set)
	token := reader.Connect()
	select {
	case <-token.Done():
		return reader, token.Error()
	case <-ctx.Done():
		return reader, ctx.Err()
	}
}

// read says in a line what a message has.
func read(topic string, payload []byte) string {
	switch topic[strings.LastIndexByte(topic, '/')+1:] {
	case "status":
		return line(topic, payload, func(m *messages.Status) []any { return []any{"status", m.State, m.Version} })
	case "state":
		return line(topic, payload, func(m *messages.State) []any {
			return []any{"state", m.Bay, m.Stage, m.Permit, level(m.LevelMm), len(m.Findings), "findings"}
		})
	case "event":
		return line(topic, payload, func(m *messages.Event) []any { return []any{"event", m.Bay, m.Epoch, m.Seq, m.Kind, m.Text} })
	case "notice":
		return line(topic, payload, func(m *messages.Notice) []any { return []any{"notice", m.Bay, m.State, m.Text} })
	case "response":
		return line(topic, payload, func(m *messages.Response) []any { return []any{"response", m.Bay, m.Result, m.Text} })
	}
	return topic + ": not a message of the contract"
}

// line decodes a message as its type and says what of it is shown.
func line[T any](topic string, payload []byte, show func(*T) []any) string {
	m := new(T)
	if err := json.Unmarshal(payload, m); err != nil {
		return fmt.Sprintf("%s does not fit its contract: %v: %s", topic, err, payload)
	}
	return strings.TrimSuffix(fmt.Sprintln(show(m)...), "\n")
}

// level is the electrolyte above the plate tops. What is not known is absent, and never 0.
func level(mm *float64) string {
	if mm == nil {
		return "level-unknown"
	}
	return fmt.Sprintf("%.1f-mm", *mm)
}
