package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

type brokerProcess struct {
	addr string
	pid  int
}

// startBroker runs mosquitto on a free port, with the settings that deploy/mosquitto
// makes for speed.
func startBroker(ctx context.Context, dir string) (*brokerProcess, func(), error) {
	addr, err := freeAddress()
	if err != nil {
		return nil, nil, err
	}
	program, err := exec.LookPath("mosquitto")
	if err != nil {
		program = "/usr/sbin/mosquitto"
	}
	file := filepath.Join(dir, "mosquitto.conf")
	_, port, _ := net.SplitHostPort(addr)
	text := "listener " + port + " 127.0.0.1\nallow_anonymous true\nset_tcp_nodelay true\nmax_queued_messages 100000\n"
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		return nil, nil, fmt.Errorf("the broker's configuration: %w", err)
	}
	cmd := exec.CommandContext(ctx, program, "-c", file) //nolint:gosec // a program of the distribution
	if err := cmd.Start(); err != nil {
		return nil, nil, fmt.Errorf("start mosquitto: %w", err)
	}
	stop := func() { _ = cmd.Process.Signal(os.Interrupt); _ = cmd.Wait() }
	var d net.Dialer
	for range 100 {
		if c, err := d.DialContext(ctx, "tcp", addr); err == nil {
			_ = c.Close()
			return &brokerProcess{addr, cmd.Process.Pid}, stop, nil
		}
		time.Sleep(50 * time.Millisecond)
	}
	stop()
	return nil, nil, errors.New("mosquitto does not listen")
}

// fleet is how many agents publish, and how many times faster than real time. A
// faster fleet stands in for a larger one, without its connections.
type fleet struct{ agents, faster int }

func (f fleet) String() string {
	if f.faster == 1 {
		return fmt.Sprintf("%d agents", f.agents)
	}
	return fmt.Sprintf("%d agents x %d", f.agents, f.faster)
}

// fleets reads "1000,1000x10".
func fleets(text string) (all []fleet, err error) {
	for one := range strings.SplitSeq(text, ",") {
		if one == "" {
			continue
		}
		f := fleet{faster: 1}
		size, times, faster := strings.Cut(one, "x")
		f.agents, err = strconv.Atoi(size)
		if err == nil && faster {
			f.faster, err = strconv.Atoi(times)
		}
		if err != nil || f.agents < 1 || f.faster < 1 {
			return nil, fmt.Errorf("--fleet: %q is not accepted: a number of agents, or agents and how many times faster, such as 1000x10", one)
		}
		all = append(all, f)
	}
	return all, nil
}

// many replays the messages of one agent as those of many, each agent on its own
// connection and offset in time, with one listener for all.
func many(ctx context.Context, dir string, f fleet, heard []message, span time.Duration, w io.Writer) error {
	if len(heard) == 0 {
		return errors.New("the one agent published nothing")
	}
	broker, stop, err := startBroker(ctx, dir)
	if err != nil {
		return err
	}
	defer stop()
	ear := &ear{first: make(chan struct{})}
	listener, err := ear.listen(broker.addr)
	if err != nil {
		return err
	}
	defer listener.Disconnect(100)
	clients, refused := connectAll(broker.addr, f.agents)
	before, err := cpuOf(broker.pid)
	if err != nil {
		return err
	}
	mine, err := cpuOf(os.Getpid())
	if err != nil {
		return err
	}
	ear.forget()
	began := time.Now()
	lat, lost := play(clients, heard, span/time.Duration(f.faster))
	took := time.Since(began)
	u, err := usageOf(broker.pid)
	if err != nil {
		return err
	}
	after, err := cpuOf(os.Getpid())
	if err != nil {
		return err
	}
	came := len(ear.all())
	for _, c := range clients {
		c.Disconnect(0)
	}
	if len(lat) == 0 {
		return errors.New("no message was acknowledged")
	}
	slices.Sort(lat)
	row := func(what, format string, a ...any) {
		_, _ = fmt.Fprintf(w, "%s\t%s\t%s\n", f, what, fmt.Sprintf(format, a...))
	}
	row("connections refused; messages lost", "%d; %d", refused, lost)
	row("messages a second, QoS 1: requested; published; at the one listener", "%.0f; %.0f; %.0f",
		float64(f.agents*f.faster*len(heard))/span.Seconds(), float64(len(lat))/took.Seconds(), float64(came)/took.Seconds())
	row("publish to acknowledged: median; p99; worst", "%.2f ms; %.2f ms; %.1f ms", ms(lat[len(lat)/2]), ms(lat[len(lat)*99/100]), ms(lat[len(lat)-1]))
	row("broker: CPU; memory (PSS); the agents' side: CPU", "%.1f %% of a core; %.1f MiB; %.1f %%",
		100*float64(u.cpu-before)/float64(took), float64(u.pssKB)/1024, 100*float64(after-mine)/float64(took))
	return nil
}

func connectAll(addr string, agents int) (clients []mqtt.Client, refused int) {
	for i := range agents {
		o := mqtt.NewClientOptions().AddBroker("tcp://" + addr).SetClientID(fmt.Sprintf("bench-%d", i))
		c := mqtt.NewClient(o.SetAutoReconnect(false).SetKeepAlive(30 * time.Second))
		if err := wait(c.Connect()); err != nil {
			refused++
			continue
		}
		clients = append(clients, c)
	}
	return clients, refused
}

// play spreads each agent's messages evenly over the span, so that the fleet
// publishes at its real rate.
func play(clients []mqtt.Client, heard []message, span time.Duration) (lat []time.Duration, lost int) {
	var mu sync.Mutex
	var failed atomic.Int64
	var all sync.WaitGroup
	step := span / time.Duration(len(heard))
	for i, c := range clients {
		all.Go(func() {
			var mine []time.Duration
			time.Sleep(step * time.Duration(i) / time.Duration(len(clients)))
			for _, m := range heard {
				next := time.Now().Add(step)
				topic := strings.Replace(m.topic, "/agent-1/", fmt.Sprintf("/agent-%d/", i+1), 1)
				began := time.Now()
				if err := wait(c.Publish(topic, 1, true, m.payload)); err != nil {
					failed.Add(1)
				} else {
					mine = append(mine, time.Since(began))
				}
				time.Sleep(time.Until(next))
			}
			mu.Lock()
			defer mu.Unlock()
			lat = append(lat, mine...)
		})
	}
	all.Wait()
	return lat, int(failed.Load())
}
