// Command bare shows what a program costs that links the libraries for MQTT and
// metrics and does next to nothing with them: it answers every command, publishes a
// line a second and can be scraped. The benchmark compares bayward with it, because
// machines differ more in these costs than programs do.
package main

import (
	"fmt"
	"net/http"
	"os"
	"strings"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

func main() {
	fmt.Fprintln(os.Stderr, "main is reached")
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "usage: bare BROKER LISTEN")
		os.Exit(2)
	}
	if err := run(os.Args[1], os.Args[2]); err != nil {
		fmt.Fprintln(os.Stderr, "bare:", err)
		os.Exit(1)
	}
}

func run(broker, listen string) error {
	reg := prometheus.NewRegistry()
	reg.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	ended := make(chan error, 1)
	go func() {
		server := http.Server{Addr: listen, Handler: promhttp.HandlerFor(reg, promhttp.HandlerOpts{}), ReadHeaderTimeout: time.Second}
		ended <- server.ListenAndServe()
	}()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("bare"))
	if err := done(c.Connect()); err != nil {
		return err
	}
	err := done(c.Subscribe("bayward/bench/agent-1/+/command", 1, func(c mqtt.Client, m mqtt.Message) {
		c.Publish(strings.TrimSuffix(m.Topic(), "command")+"response", 1, false, m.Payload())
	}))
	if err != nil {
		return err
	}
	for tick := time.NewTicker(time.Second); ; {
		if err := done(c.Publish("bayward/bench/agent-1/status", 1, true, "here")); err != nil {
			return err
		}
		select {
		case err := <-ended:
			return err
		case <-tick.C:
		}
	}
}

func done(t mqtt.Token) error {
	t.Wait()
	return t.Error()
}
