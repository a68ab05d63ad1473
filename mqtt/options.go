package mqtt

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/url"
	"slices"
	"time"
)

// Outbox holds the events that the broker does not have yet.
type Outbox interface {
	// Unsent returns up to limit of them, those of one bay in order and
	// beginning with its oldest.
	Unsent(ctx context.Context, limit int) ([]Event, error)
	// Sent says that the broker has the events of a bay up to seq.
	Sent(ctx context.Context, bay string, seq uint64) error
}

// Options say where the broker is and who we are.
type Options struct {
	Broker       string // tcp://host:port, ssl://host:port, ws:// or wss://; no user in it
	ClientID     string // unique for each agent; "" is bayward-SITE-AGENT
	Username     string // "" for none
	PasswordFile string // read at each connection
	CAFile       string // PEM, read at each connection; "" is the system's roots
	Topics       Topics
	Version      string // of this program
	BootID       string
	Outbox       Outbox
	Log          *slog.Logger
	// Now is the wall clock; nil is the system's, not trusted.
	Now func() Wall
	// StateEvery is how long a state without a real change may wait; 0 is 30 s.
	StateEvery time.Duration
	// BackOff is the wait after the n-th failure in a row, n from 1; nil is a
	// random part of 1 s doubling to 60 s.
	BackOff func(n int) time.Duration
}

var schemes = []string{"tcp", "ssl", "ws", "wss"}

// ports of the registered services mqtt and secure-mqtt.
var ports = map[string]string{"tcp": "1883", "ssl": "8883"}

// complete checks the options and fills in the defaults.
func (o *Options) complete() (*url.URL, error) {
	if err := o.Topics.check(); err != nil {
		return nil, err
	}
	if o.Outbox == nil || o.Log == nil {
		return nil, errors.New("mqtt: bug: options without outbox or log")
	}
	if o.ClientID == "" {
		o.ClientID = "bayward-" + o.Topics.Site + "-" + o.Topics.Agent
	}
	if o.Now == nil {
		o.Now = func() Wall { return Wall{Time: time.Now()} }
	}
	if o.StateEvery == 0 {
		o.StateEvery = 30 * time.Second
	}
	if o.BackOff == nil {
		o.BackOff = fullJitter
	}
	return parseBroker(o.Broker)
}

func parseBroker(address string) (*url.URL, error) {
	u, err := url.Parse(address)
	if err != nil {
		// The parser's own words would repeat a password.
		return nil, errors.New("mqtt: the broker's address cannot be read: want scheme://host:port")
	}
	switch {
	case u.User != nil:
		return nil, errors.New("mqtt: the broker's address holds a user: use username and password_file")
	case !slices.Contains(schemes, u.Scheme):
		return nil, fmt.Errorf("mqtt: broker %q: the scheme is none of %v", address, schemes)
	case u.Hostname() == "":
		return nil, fmt.Errorf("mqtt: broker %q: the host is missing", address)
	}
	if port := ports[u.Scheme]; u.Port() == "" && port != "" {
		u.Host += ":" + port
	}
	return u, nil
}

// fullJitter is a random part of a wait that doubles from 1 s to 60 s, so that
// a hall full of agents does not come back in step.
func fullJitter(n int) time.Duration {
	ceiling := min(time.Minute, time.Second<<min(max(n, 1)-1, 6))
	return rand.N(ceiling) //nolint:gosec // spreads load, guards no secret
}
