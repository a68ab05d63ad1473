package metrics

import (
	"fmt"
	"runtime"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"

	"bayward/agent/bay"
)

// Sources provide the numbers. All functions are called during a scrape, from any
// goroutine, and must answer at once.
type Sources struct {
	// Pictures returns the last picture of each bay, which no longer changes. Names
	// of bays must differ.
	Pictures func() []*bay.Picture
	// RelayClosed returns what a bay's relay is driven to; known is false while its
	// keeper is silent. It is called where no feedback contact is read. Nil when there
	// are no relays, as in a replay.
	RelayClosed func(bayName string) (closed, known bool)
	// MQTTConnected, MQTTProven and OutboxEvents are nil when there is no broker.
	MQTTConnected func() bool
	MQTTProven    func() bool // whether events that the broker acknowledged came back
	OutboxEvents  func() int  // events that the broker does not have yet
	// CommandsRefused returns how many commands over MQTT reached no bay. Nil without a
	// broker.
	CommandsRefused func() uint64
	// ConnectionsCut returns how many connections to the page were cut or refused since
	// the start. Nil without a page.
	ConnectionsCut func() uint64
	// Certificates calls back with the end of each configured certificate, by what it is
	// for. Nil where none is configured.
	Certificates func(func(use string, ends time.Time))
	Scheme       string // of the page, "http" or "https"; "" without a page
	Version      string
}

// Collector turns pictures into metrics, and counts what the loop reports.
type Collector struct {
	src    Sources
	faults *prometheus.CounterVec
	orders *prometheus.CounterVec
	signIn prometheus.Counter
	ticks  prometheus.Histogram
	relay  prometheus.Histogram

	shelf *shelf

	mu       sync.Mutex                          // guards all fields below
	lastGood map[string]map[string]time.Duration // by bay and sensor, on the pictures' clock
	first    map[string]time.Duration            // by bay: its first tick
	jugs     map[string]*jug                     // by bay
}

// New returns a collector. A Registry scrapes it.
func New(src Sources) *Collector {
	return &Collector{
		src: src, shelf: newShelf(), lastGood: map[string]map[string]time.Duration{}, first: map[string]time.Duration{}, jugs: map[string]*jug{},
		faults: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "bayward_reading_faults_total",
			Help: "Ticks in which a configured sensor gave no usable value, by fault.",
		}, []string{"bay", "sensor", "fault"}),
		orders: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "bayward_orders_refused_total", Help: "Orders that the bay refused."}, []string{"bay"}),
		signIn: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "bayward_sign_ins_refused_total", Help: "Sign-ins on the page that were refused: wrong name or PIN, or too many tries.",
		}),
		ticks: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "bayward_tick_duration_seconds",
			Help: "Duration of a tick, from sampling to handing over the last output.",
			// Four conversions at 128 a second take 32 ms; a tick is due each
			// second.
			Buckets: []float64{0.001, 0.005, 0.02, 0.04, 0.08, 0.15, 0.3, 0.6, 1, 2},
		}),
		relay: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "bayward_relay_reaction_seconds",
			Help: "Time from the last reading of a tick to setting the relay.",
			// The core takes microseconds; a write to a line some tens of them.
			Buckets: []float64{1e-5, 3e-5, 1e-4, 3e-4, 1e-3, 3e-3, 0.01, 0.03, 0.1, 1},
		}),
	}
}

// ObserveTick reports how long one tick took.
func (c *Collector) ObserveTick(took time.Duration) { c.ticks.Observe(took.Seconds()) }

// OrderRefused reports that a bay refused an order.
func (c *Collector) OrderRefused(bayName string) { c.orders.WithLabelValues(bayName).Inc() }

// SignInRefused reports that the page refused a sign-in.
func (c *Collector) SignInRefused() { c.signIn.Inc() }

// ObserveRelay reports the time from the last reading of a tick to setting the
// relay.
func (c *Collector) ObserveRelay(took time.Duration) { c.relay.Observe(took.Seconds()) }

// Ticked counts the faults and the water of one tick and records when each sensor
// was last good. The loop calls it for each tick, after the relay; it never waits
// for a scrape longer than a map look-up takes.
func (c *Collector) Ticked(p *bay.Picture) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.pour(p)
	good := c.lastGood[p.Bay]
	if good == nil {
		good = map[string]time.Duration{}
		c.lastGood[p.Bay], c.first[p.Bay] = good, p.Now
		c.orders.WithLabelValues(p.Bay) // 0 from the start, so that a rate sees the first
	}
	for _, s := range p.Sensors() {
		if s.Reading.OK() {
			good[s.Name] = s.Reading.At
			continue
		}
		c.faults.WithLabelValues(p.Bay, s.Name, s.Reading.Fault.String()).Inc()
	}
}

// sink receives the metrics of one scrape, one value with its labels at a time. It
// leaves out a value that is not a number: a missing reading must be absent.
type sink func(d *desc, of labels, v float64)

// labels are the values of a metric's labels in their order; no metric has more.
type labels [2]string

func (out sink) flag(d *desc, of labels, on bool) {
	v := 0.0
	if on {
		v = 1
	}
	out(d, of, v)
}

// Gather implements prometheus.TransactionalGatherer with everything in the
// pictures. It reuses what it returns: the next scrape waits until done is called.
func (c *Collector) Gather() (families []*dto.MetricFamily, done func(), err error) {
	c.shelf.mu.Lock()
	defer func() {
		if p := recover(); p != nil { // one broken scrape must not stop those after it
			c.shelf.mu.Unlock()
			families, done, err = nil, func() {}, fmt.Errorf("bug: metrics: %v", p)
		}
	}()
	c.shelf.scrape++
	c.shelf.err = nil
	c.all(c.shelf.put)
	return c.shelf.present(), c.shelf.mu.Unlock, c.shelf.err
}

func (c *Collector) all(out sink) {
	out(buildInfo, labels{c.src.Version, runtime.Version()}, 1)
	if c.src.MQTTConnected != nil {
		out.flag(mqttConnected, labels{}, c.src.MQTTConnected())
		out.flag(mqttProven, labels{}, c.src.MQTTProven())
	}
	if c.src.OutboxEvents != nil {
		out(mqttOutbox, labels{}, float64(c.src.OutboxEvents()))
	}
	if c.src.CommandsRefused != nil {
		out(commandsRefused, labels{}, float64(c.src.CommandsRefused()))
	}
	if c.src.Scheme != "" {
		out(pageInfo, labels{c.src.Scheme}, 1)
	}
	if c.src.ConnectionsCut != nil {
		out(connectionsCut, labels{}, float64(c.src.ConnectionsCut()))
	}
	if c.src.Certificates != nil {
		c.src.Certificates(func(use string, ends time.Time) { out(certEnds, labels{use}, float64(ends.Unix())) })
	}
	for _, p := range c.src.Pictures() {
		if p != nil {
			c.bay(out, p)
		}
	}
}

func (c *Collector) ages(out sink, p *bay.Picture) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, s := range p.Sensors() {
		at, known := c.lastGood[p.Bay][s.Name]
		if !known { // it never answered, which must not look as if there were no such sensor
			at, known = c.first[p.Bay]
		}
		if s.Reading.OK() {
			at, known = max(at, s.Reading.At), true
		}
		if known {
			// A newer tick than the picture's may have been counted already.
			out(readingAge, labels{p.Bay, s.Name}, max(0, p.Now-at).Seconds())
		}
	}
}

var _ prometheus.TransactionalGatherer = (*Collector)(nil)
