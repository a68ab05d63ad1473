// Package broker is a small MQTT 3.1.1 broker inside the program, for the demo, for
// tests and for a single bay without infrastructure. It listens on loopback only,
// stores nothing on disk and has no passwords: every program on the machine may
// read everything and send commands, but only the agent may publish the rest. A
// plant uses its own broker.
//
// A client with a session of its own (clean session 0) gets what was published while
// it was away, in the order in which it was published, for up to an hour.
package broker

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"slices"
	"sync"
	"syscall"
)

// ErrTaken means that another program listens at the address.
var ErrTaken = errors.New("another program is already listening there")

// ErrNotLoopback means that the address would be open to the network.
var ErrNotLoopback = errors.New("the broker inside the program listens on this machine only")

// Options are where to listen, and the agents.
type Options struct {
	Listen string   // host:port; "" or ":0" means a free port of 127.0.0.1
	Agents []string // client ids that may publish below bayward/
	Log    *slog.Logger
}

// Broker is a running broker. Call Close to stop it.
type Broker struct {
	hub      *hub
	listener net.Listener
	serving  sync.WaitGroup
}

// Start listens and serves. It returns ErrTaken for an address in use, and
// ErrNotLoopback for one that is not of this machine.
func Start(ctx context.Context, o Options) (*Broker, error) {
	listener, err := listen(ctx, o.Listen)
	if err != nil {
		return nil, err
	}
	b := &Broker{hub: newHub(rights{slices.Clone(o.Agents)}, o.Log), listener: listener}
	b.serving.Go(b.accept)
	return b, nil
}

// accept serves clients until the listener is closed.
func (b *Broker) accept() {
	for {
		socket, err := b.listener.Accept()
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil { // such as too many open files: the client tries again
			b.hub.log.Error("broker: a client could not be accepted", "err", err)
			continue
		}
		b.serving.Go(func() { b.hub.serve(socket) })
	}
}

// Addr returns the host and port at which the broker listens.
func (b *Broker) Addr() string { return b.listener.Addr().String() }

// URL returns the address in the form for a client.
func (b *Broker) URL() string { return "tcp://" + b.Addr() }

// Close drops all clients and stops the broker. Retained messages and sessions are lost.
func (b *Broker) Close() error {
	err := b.listener.Close()
	b.hub.close()
	b.serving.Wait()
	return err
}

func listen(ctx context.Context, address string) (net.Listener, error) {
	address, err := loopback(address)
	if err != nil {
		return nil, err
	}
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if errors.Is(err, syscall.EADDRINUSE) {
		return nil, fmt.Errorf("broker: %s: %w: stop it, or choose another port", address, ErrTaken)
	}
	if err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	return l, nil
}

// loopback completes an address, and refuses one that is not of this machine.
func loopback(address string) (string, error) {
	if address == "" {
		address = ":0"
	}
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return "", fmt.Errorf("broker: address %q: must be host:port, such as 127.0.0.1:1883: %w", address, err)
	}
	if host == "" || host == "localhost" {
		host = "127.0.0.1"
	}
	if ip := net.ParseIP(host); ip == nil || !ip.IsLoopback() {
		return "", fmt.Errorf("broker: address %q: %w: use 127.0.0.1:port, or run a separate broker for the network",
			address, ErrNotLoopback)
	}
	return net.JoinHostPort(host, port), nil
}
