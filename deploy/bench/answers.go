package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// answers measures how long a command takes through the broker, the agent and the
// broker again. It repeats the same command: only the first waits for a tick, and a
// repeat is answered at once without being carried out again. The agent reads ten
// commands a second for each bay; this sends nine.
func (p program) answers(ctx context.Context, dir string, w io.Writer) error {
	const bays, rounds = 8, 125
	r, err := p.start(ctx, dir)
	if err != nil {
		return err
	}
	defer r.stop()
	for _, qos := range []byte{0, 1} {
		took, err := ask(r.broker, bays, rounds, qos)
		if err != nil {
			return fmt.Errorf("QoS %d: %w", qos, err)
		}
		slices.Sort(took)
		_, _ = fmt.Fprintf(w, "%s\tcommand to its answer, QoS %d, %d times: median; p99; worst\t%.2f ms; %.2f ms; %.2f ms\n",
			p.name, qos, len(took), ms(took[len(took)/2]), ms(took[len(took)*99/100]), ms(took[len(took)-1]))
	}
	return nil
}

// ask sends one command at a time, from bay to bay.
func ask(broker string, bays, rounds int, qos byte) (took []time.Duration, err error) {
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + broker).SetClientID(fmt.Sprintf("bench-asks-%d", qos)))
	if err := wait(c.Connect()); err != nil {
		return nil, err
	}
	defer c.Disconnect(100)
	came := make(chan time.Time, 1)
	id := fmt.Sprintf("bench-%d", qos)
	err = wait(c.Subscribe("bayward/bench/agent-1/+/response", qos, func(_ mqtt.Client, m mqtt.Message) {
		var answer struct {
			ID     string
			Result string
		}
		if json.Unmarshal(m.Payload(), &answer) == nil && answer.ID == id {
			came <- time.Now()
		}
	}))
	if err != nil {
		return nil, err
	}
	each := time.NewTicker(time.Second / time.Duration(9*bays))
	defer each.Stop()
	for n := range bays * (rounds + 1) {
		<-each.C
		topic := fmt.Sprintf("bayward/bench/agent-1/bay-%d/command", n%bays+1)
		began := time.Now()
		if err := wait(c.Publish(topic, qos, false, `{"v":1,"id":"`+id+`","order":"hold","by":"bench"}`)); err != nil {
			return nil, err
		}
		select {
		case at := <-came:
			if n >= bays { // the first of each bay waited for a tick
				took = append(took, at.Sub(began))
			}
		case <-time.After(10 * time.Second):
			return nil, fmt.Errorf("no answer to command %d", n+1)
		}
	}
	return took, nil
}
