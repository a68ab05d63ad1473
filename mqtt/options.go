package mqtt

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/url"
	"slices"
	"strings"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
)

// Outbox holds the events that the broker is not known to have yet.
type Outbox interface {
	// Unsent returns up to limit of them, those of one bay in order and
	// beginning with its oldest.
	Unsent(ctx context.Context, limit int) ([]Event, error)
	// Sent records that the broker has the events of a bay up to seq.
	Sent(ctx context.Context, bay string, seq uint64) error
}

// Options describe the broker and this agent.
type Options struct {
	// Brokers are tried in this order: tcp://host:port, ssl://host:port,
	// ws://host:port/path or wss://; without a user.
	Brokers      []string
	ClientID     string // unique for each agent; "" is bayward-SITE-AGENT
	Username     string // "" for none
	PasswordFile string // read at each connection
	CAFile       string // PEM, read at each connection; "" means the system's roots
	CertFile     string // this agent's certificate, PEM, read at each connection; "" for none
	KeyFile      string // its key, PEM
	Topics       Topics
	QoS          QoS
	KeepAlive    time.Duration // 0 means 30 s
	MaxInFlight  int           // messages not yet acknowledged; 0 means 16
	Version      string        // of this program
	BootID       string
	// Epoch returns the epoch of the record, "" without one; nil means the same.
	Epoch  func() string
	Outbox Outbox
	Log    *slog.Logger
	// Now is the wall clock; nil means the system's, not trusted.
	Now func() Wall
	// OrderNow is the clock for commands; nil means Now.
	OrderNow func() Wall
	// Bays are the bays whose commands are read.
	Bays []string
	// People may give signed orders.
	People []Person
	// Submit sends an order to a bay and returns the result once it is on record; an
	// event with order.ErrNotOnRecord is in force and not on record. As loop.Submit
	// does; if nil, commands are not read.
	Submit func(ctx context.Context, bayName string, o order.Order) (bay.Event, error)
	// Follow is told what the site's agents publish; nil subscribes to nothing of others.
	Follow Follower
	// Page is the address under which people reach this agent's page, published with its
	// status; "" publishes none.
	Page string
	// PageProof is published with it, for agents with the same people; "" publishes none.
	PageProof string
	// DailyRound is the local time at which this agent sends a daily round for the site, such
	// as "06:30", published with its status; "" if it sends none.
	DailyRound string
	// StateEvery is how long a state without a real change may wait; 0 means 30 s.
	StateEvery time.Duration
	// BackOff returns the wait after the n-th failure in a row, n from 1; nil
	// means a random part of a wait that doubles from 1 s to 60 s.
	BackOff func(n int) time.Duration
}

// QoS is the quality of service for each topic: 0, 1 or 2. With 0 the broker
// acknowledges nothing, so status and event need at least 1.
type QoS struct{ Status, State, Event, Notice, Command, Response byte }

// DefaultQoS returns 1 for everything.
func DefaultQoS() QoS { return QoS{1, 1, 1, 1, 1, 1} }

func (q QoS) check() error {
	most := max(q.Status, q.State, q.Event, q.Notice, q.Command, q.Response)
	if most > 2 || q.Status == 0 || q.Event == 0 {
		return fmt.Errorf("mqtt: quality of service %+v: must be 0 to 2, and 1 or 2 for status and event", q)
	}
	return nil
}

var schemes = []string{"tcp", "ssl", "ws", "wss"}

// ports of the registered services mqtt and secure-mqtt.
var ports = map[string]string{"tcp": "1883", "ssl": "8883"}

// complete checks the options and fills in the defaults.
func (o *Options) complete() ([]*url.URL, error) {
	if o.Outbox == nil || o.Log == nil {
		return nil, errors.New("mqtt: bug: options without outbox or log")
	}
	o.fillIn()
	if (o.CertFile == "") != (o.KeyFile == "") {
		return nil, errors.New("mqtt: a client certificate needs both its own file and its key's file")
	}
	if o.MaxInFlight < 1 || o.MaxInFlight > maxInFlight || o.KeepAlive < minKeepAlive || o.KeepAlive > maxKeepAlive {
		return nil, fmt.Errorf("mqtt: %d messages in flight, keep alive %v: must be 1 to %d, and %v to %v",
			o.MaxInFlight, o.KeepAlive, maxInFlight, minKeepAlive, maxKeepAlive)
	}
	if err := errors.Join(o.Topics.check(), o.QoS.check(), checkPeople(o.People)); err != nil {
		return nil, err
	}
	return parseBrokers(o.Brokers)
}

// Limits of the options.
const (
	maxInFlight  = 64
	minKeepAlive = 5 * time.Second
	maxKeepAlive = 20 * time.Minute
)

func (o *Options) fillIn() {
	if o.ClientID == "" {
		o.ClientID = "bayward-" + o.Topics.Site + "-" + o.Topics.Agent
	}
	if o.Now == nil {
		o.Now = func() Wall { return Wall{Time: time.Now()} }
	}
	if o.OrderNow == nil {
		o.OrderNow = o.Now
	}
	if o.Epoch == nil {
		o.Epoch = func() string { return "" }
	}
	if o.StateEvery == 0 {
		o.StateEvery = 30 * time.Second
	}
	if o.BackOff == nil {
		o.BackOff = fullJitter
	}
	if o.KeepAlive == 0 {
		o.KeepAlive = 30 * time.Second
	}
	if o.MaxInFlight == 0 {
		o.MaxInFlight = 16
	}
	if o.QoS == (QoS{}) {
		o.QoS = DefaultQoS()
	}
}

func parseBrokers(addresses []string) ([]*url.URL, error) {
	if len(addresses) == 0 {
		return nil, errors.New("mqtt: no broker is given")
	}
	brokers := make([]*url.URL, len(addresses))
	for i, address := range addresses {
		var err error
		if brokers[i], err = parseBroker(address); err != nil {
			return nil, err
		}
	}
	return brokers, nil
}

func parseBroker(address string) (*url.URL, error) {
	u, err := url.Parse(address)
	if err != nil {
		// The parser's own error would repeat a password.
		return nil, errors.New("mqtt: the broker's address cannot be read: must be scheme://host:port")
	}
	switch {
	case u.User != nil:
		return nil, errors.New("mqtt: the broker's address contains a user: use username and password_file")
	case !slices.Contains(schemes, u.Scheme):
		return nil, fmt.Errorf("mqtt: broker %q: the scheme must be one of %v", shown(u), schemes)
	case u.Hostname() == "":
		return nil, fmt.Errorf("mqtt: broker %q: the host is missing", shown(u))
	}
	if port := ports[u.Scheme]; u.Port() == "" && port != "" {
		u.Host += ":" + port
	}
	return u, nil
}

// shown returns what messages show of a broker's address. A path may be a secret.
func shown(u *url.URL) string {
	text := u.Scheme + "://" + u.Host
	if strings.Trim(u.Path, "/")+u.RawQuery+u.Opaque != "" {
		text += "/…"
	}
	return text
}

// fullJitter returns a random part of a wait that doubles from 1 s to 60 s, so
// that many agents do not all reconnect at the same moment.
func fullJitter(n int) time.Duration {
	ceiling := min(time.Minute, time.Second<<min(max(n, 1)-1, 6))
	return rand.N(ceiling) //nolint:gosec // spreads load, guards no secret
}
