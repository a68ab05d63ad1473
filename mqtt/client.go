package mqtt

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"sync"
	"sync/atomic"
	"time"

	"bayward/agent/view"
)

const (
	dialFor    = 10 * time.Second // limit for making a connection
	ackWithin  = 20 * time.Second // limit for the broker's acknowledgement
	stopWithin = 2 * time.Second  // limit for the last message
	writeFor   = 10 * time.Second // limit for one write to the wire
	stableFor  = time.Minute      // a connection that lasted this long resets the back-off
	quickDrop  = 5 * time.Second  // a loss this soon suggests a second client
	diskRetry  = time.Minute      // wait after the outbox could not be read
)

// Client sends an agent's messages to the broker. Run does the work; the other
// methods hand their data over and return at once, from any goroutine.
type Client struct {
	opt                   Options
	brokers               []*url.URL
	began                 time.Time
	dial                  func(ctx context.Context, broker *url.URL, will []byte) (peer, error)
	writeWithin           time.Duration
	echoWithin, echoRetry time.Duration
	latest                *latest
	answers               answers
	desks                 map[string]*desk // by bay; empty if orders are not accepted
	wake                  chan struct{}
	unsent                atomic.Bool    // the outbox may have events; finding out costs a query of the logbook
	senders               sync.WaitGroup // goroutines inside the library's Publish

	connected atomic.Bool
	connects  atomic.Uint64
	drops     atomic.Uint64
	events    atomic.Uint64
	retained  atomic.Uint64
	refused   atomic.Uint64
	lost      atomic.Bool // the broker acknowledges events and does not deliver them

	// Only Run's goroutine touches these.
	failures int
	broker   *url.URL // of the last connection
	hinted   bool     // a second client was logged
	deafTold bool     // a refused subscription to commands was logged
	siteTold bool     // one to the site
	diskTold bool     // an unusable outbox was logged
}

// Stats counts what a Client has done since it was made.
type Stats struct {
	Connected    bool
	Connects     uint64 // connections that came up
	Drops        uint64 // connections that were lost
	EventsSent   uint64 // acknowledged and delivered back by the broker; a repeat counts again
	RetainedSent uint64 // states and notices, acknowledged
}

// New checks the options. Nothing is opened before Run.
func New(o Options) (*Client, error) {
	brokers, err := o.complete()
	if err != nil {
		return nil, err
	}
	hookLibrary()
	c := &Client{
		opt: o, brokers: brokers, broker: brokers[0], began: time.Now(), writeWithin: writeFor, echoWithin: echoWithin, echoRetry: echoRetry,
		latest: newLatest(o.StateEvery), wake: make(chan struct{}, 1), desks: map[string]*desk{},
	}
	c.dial = func(ctx context.Context, broker *url.URL, will []byte) (peer, error) {
		return dial(ctx, &c.opt, broker, c.writeWithin, will)
	}
	if o.Submit != nil {
		for _, name := range o.Bays {
			c.desks[name] = newDesk(c, name)
		}
	}
	return c, nil
}

// State hands over the current view of a bay. Call it at every tick: a change
// of stage, permit, findings, faults or visit is published at once, everything
// else every StateEvery. State reads what the view points to before it returns.
func (c *Client) State(bayName string, v view.View, at Wall) {
	payload, err := stateJSON(v, at)
	if err != nil {
		c.opt.Log.Error("state is not published: it has a value that is not a number", "bay", bayName, "err", err)
		return
	}
	if c.latest.put(c.opt.Topics.State(bayName), c.opt.QoS.State, gist(&v), payload) {
		c.stir()
	}
}

// Notice hands over the newest notice of a bay.
func (c *Client) Notice(bayName string, n Notice) {
	payload, err := noticeJSON(bayName, n)
	if err != nil {
		c.opt.Log.Error("notice is not published", "bay", bayName, "err", err)
		return
	}
	if c.latest.put(c.opt.Topics.Notice(bayName), c.opt.QoS.Notice, string(payload), payload) {
		c.stir()
	}
}

// Daily hands over that the site's daily round has been sent.
func (c *Client) Daily(d Daily) {
	payload, err := d.JSON()
	if err != nil {
		c.opt.Log.Error("daily round is not published", "err", err)
		return
	}
	if c.latest.put(c.opt.Topics.Daily(), c.opt.QoS.Status, d.Day, payload) {
		c.stir()
	}
}

// Wake signals that the outbox has new events.
func (c *Client) Wake() {
	c.unsent.Store(true)
	c.stir()
}

// stir makes the session check for messages to send.
func (c *Client) stir() {
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// Connected reports whether a connection is up now.
func (c *Client) Connected() bool { return c.connected.Load() }

// EventsProven reports whether the broker delivers the events that it acknowledges. It
// is true until one has not come back.
func (c *Client) EventsProven() bool { return !c.lost.Load() }

// CommandsRefused returns how many commands have reached no bay since the client was made.
func (c *Client) CommandsRefused() uint64 { return c.refused.Load() }

// Stats returns the counts so far.
func (c *Client) Stats() Stats {
	return Stats{
		Connected: c.connected.Load(), Connects: c.connects.Load(), Drops: c.drops.Load(),
		EventsSent: c.events.Load(), RetainedSent: c.retained.Load(),
	}
}

// Run connects and reconnects until ctx ends; then it publishes offline and
// disconnects. It returns nil: a lost broker is no reason to stop an agent.
func (c *Client) Run(ctx context.Context) error {
	var desks sync.WaitGroup
	for _, d := range c.desks {
		desks.Go(func() { d.work(ctx) })
	}
	defer desks.Wait()
	defer c.awaitSenders()
	for ctx.Err() == nil {
		up, err := c.connection(ctx)
		if ctx.Err() != nil {
			break
		}
		if up >= stableFor {
			c.failures, c.hinted = 0, false
		}
		c.failures++
		c.tell(up, err)
		sleep(ctx, c.opt.BackOff(c.failures))
	}
	return nil
}

// awaitSenders waits for the goroutines that the library may block in Publish
// for its whole write timeout. At exit it does not wait that long.
func (c *Client) awaitSenders() {
	done := make(chan struct{})
	go func() { c.senders.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(stopWithin):
	}
}

// tell logs the first failure in a row, and the likely cause of a quick loss.
func (c *Client) tell(up time.Duration, err error) {
	switch {
	case up > 0 && up < quickDrop && !c.hinted:
		c.hinted = true
		c.opt.Log.Warn("broker dropped the connection right after it was made: another client may use the same id",
			"client_id", c.opt.ClientID, "up_s", up.Seconds(), "err", err)
	case up > 0 || c.failures == 1:
		c.opt.Log.Warn("no connection to the broker: events wait in the logbook", "broker", shown(c.broker), "err", err)
	default:
		c.opt.Log.Debug("still no connection to the broker", "failures", c.failures, "err", err)
	}
}

// connection makes one connection, uses it until it is lost or ctx ends, and
// returns how long it was up.
func (c *Client) connection(ctx context.Context) (up time.Duration, err error) {
	will, err := c.status(Status{Reason: "connection-lost"})
	if err != nil {
		return 0, err
	}
	p, err := c.open(ctx, will)
	if err != nil {
		return 0, err
	}
	start := time.Now()
	c.connects.Add(1)
	c.connected.Store(true)
	c.opt.Log.Info("connected to the broker", "broker", shown(c.broker), "client_id", c.opt.ClientID)
	s := &session{Client: c, peer: p}
	err = s.use(ctx)
	c.connected.Store(false)
	if c.opt.Follow != nil {
		c.opt.Follow.Connected(false)
	}
	if ctx.Err() != nil {
		return time.Since(start), s.leave()
	}
	c.drops.Add(1)
	p.abort()
	return max(1, time.Since(start)), err
}

// open tries the brokers in their order; the first that accepts is used until the
// connection is lost.
func (c *Client) open(ctx context.Context, will []byte) (peer, error) {
	var errs []error
	for _, broker := range c.brokers {
		p, err := c.openOne(ctx, broker, will)
		if err == nil {
			c.broker = broker
			return p, nil
		}
		if len(c.brokers) > 1 {
			err = fmt.Errorf("%s: %w", shown(broker), err)
		}
		errs = append(errs, err)
	}
	return nil, errors.Join(errs...)
}

func (c *Client) openOne(ctx context.Context, broker *url.URL, will []byte) (peer, error) {
	ctx, cancel := context.WithTimeout(ctx, dialFor)
	defer cancel()
	return c.dial(ctx, broker, will)
}

// status returns a status payload of this agent.
func (c *Client) status(s Status) ([]byte, error) {
	s.Version, s.BootID, s.Epoch, s.Page, s.PageProof = c.opt.Version, c.opt.BootID, c.opt.Epoch(), c.opt.Page, c.opt.PageProof
	s.DailyRound = c.opt.DailyRound
	return s.JSON()
}

func sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}

// errNoAck means that the broker did not acknowledge a message in time.
var errNoAck = errors.New("broker does not acknowledge")
