// Package broker is a small MQTT broker inside the program, for the demo, for
// tests and for a single bay without infrastructure. It listens on loopback only,
// stores nothing on disk and has no passwords: every program on the machine may
// read everything and send commands, but only the agent may publish the rest. It
// keeps no session: a client that asks for one (clean session 0) is refused. A plant
// uses its own broker.
package broker

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"syscall"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
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
	server *mochi.Server
	addr   string
}

// Limits of the broker. The library has none of its own.
const (
	maxClients  = 50
	maxPacket   = 64 << 10 // bytes
	maxInFlight = 512
)

// Start listens and serves. It returns ErrTaken for an address in use, and
// ErrNotLoopback for one that is not of this machine.
func Start(ctx context.Context, o Options) (*Broker, error) {
	listener, err := listen(ctx, o.Listen)
	if err != nil {
		return nil, err
	}
	limits := mochi.NewDefaultServerCapabilities()
	limits.MaximumClients = maxClients
	limits.MaximumPacketSize = maxPacket
	limits.MaximumInflight = maxInFlight
	limits.MaximumSessionExpiryInterval = 0
	limits.MinimumProtocolVersion = 4
	server := mochi.New(&mochi.Options{Capabilities: limits, Logger: slog.New(errorsOnly{o.Log.Handler()})})
	err = server.AddHook(newRights(o.Agents), nil)
	if err == nil {
		err = server.AddHook(&sessions{server: server, log: o.Log}, nil)
	}
	if err == nil {
		err = server.AddHook(&kept{}, nil)
	}
	if err == nil {
		err = server.AddListener(listeners.NewNet("tcp", listener))
	}
	if err == nil {
		err = server.Serve()
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("broker: start: %w", err), listener.Close())
	}
	return &Broker{server: server, addr: listener.Addr().String()}, nil
}

// Addr returns the host and port at which the broker listens.
func (b *Broker) Addr() string { return b.addr }

// URL returns the address in the form for a client.
func (b *Broker) URL() string { return "tcp://" + b.addr }

// Close drops all clients and stops the broker. Retained messages are lost.
func (b *Broker) Close() error { return b.server.Close() }

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

// errorsOnly drops the library's messages about every client that connects and
// disconnects.
type errorsOnly struct{ slog.Handler }

// Enabled reports whether a level is kept.
func (h errorsOnly) Enabled(ctx context.Context, level slog.Level) bool {
	return level >= slog.LevelError && h.Handler.Enabled(ctx, level)
}

// WithAttrs keeps the filter on a logger with attributes.
func (h errorsOnly) WithAttrs(a []slog.Attr) slog.Handler { return errorsOnly{h.Handler.WithAttrs(a)} }

// WithGroup keeps the filter on a logger with a group.
func (h errorsOnly) WithGroup(name string) slog.Handler { return errorsOnly{h.Handler.WithGroup(name)} }

var _ slog.Handler = errorsOnly{}
