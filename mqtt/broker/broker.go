// Package broker is a small MQTT broker inside the program, for the demo, for
// tests and for a single bay without infrastructure. It listens on loopback only, keeps nothing on disk and has no
// passwords: whoever is on the machine may read everything and send commands,
// and only the agent may say what the state of a bay is. A plant uses a broker
// of its own.
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

// ErrTaken says that another program listens at the address.
var ErrTaken = errors.New("another program listens there")

// ErrNotLoopback says that the address would be open to the network.
var ErrNotLoopback = errors.New("the broker in the program listens on this machine only")

// Options say where to listen and who the agents are.
type Options struct {
	Listen string   // host:port; "" or ":0" is a free port of 127.0.0.1
	Agents []string // client ids that may publish below bayward/
	Log    *slog.Logger
}

// Broker is a broker that runs. Close must end it.
type Broker struct {
	server *mochi.Server
	addr   string
}

// Bounds of the broker. The library has none of its own.
const (
	maxClients    = 50
	maxPacket     = 64 << 10 // bytes
	maxInFlight   = 512
	sessionExpiry = 3600 // seconds
)

// Start listens and serves. An address that is taken is ErrTaken, one that is
// not of this machine ErrNotLoopback.
func Start(ctx context.Context, o Options) (*Broker, error) {
	listener, err := listen(ctx, o.Listen)
	if err != nil {
		return nil, err
	}
	limits := mochi.NewDefaultServerCapabilities()
	limits.MaximumClients = maxClients
	limits.MaximumPacketSize = maxPacket
	limits.MaximumInflight = maxInFlight
	limits.MaximumSessionExpiryInterval = sessionExpiry
	limits.MinimumProtocolVersion = 4
	server := mochi.New(&mochi.Options{Capabilities: limits, Logger: slog.New(errorsOnly{o.Log.Handler()})})
	err = server.AddHook(newRights(o.Agents), nil)
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

// Addr is the host and port at which the broker listens.
func (b *Broker) Addr() string { return b.addr }

// URL is the address as a client takes it.
func (b *Broker) URL() string { return "tcp://" + b.addr }

// Close drops all clients and stops. Retained messages are gone.
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

// loopback completes an address and refuses one that is not of this machine.
func loopback(address string) (string, error) {
	if address == "" {
		address = ":0"
	}
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return "", fmt.Errorf("broker: address %q: want host:port, such as 127.0.0.1:1883: %w", address, err)
	}
	if host == "" || host == "localhost" {
		host = "127.0.0.1"
	}
	if ip := net.ParseIP(host); ip == nil || !ip.IsLoopback() {
		return "", fmt.Errorf("broker: address %q: %w: want 127.0.0.1:port, or run a broker of its own for the network",
			address, ErrNotLoopback)
	}
	return net.JoinHostPort(host, port), nil
}

// errorsOnly leaves out what the library says of every client that comes and
// goes.
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
