package mqtt

import (
	"context"
	"crypto/sha256"
	"errors"
	"strings"
	"sync"
	"time"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/view"
	"bayward/agent/words"
)

// Limits on incoming messages. An attacker with the broker's password can use
// them up; then commands are refused, and nothing else in the agent is affected.
const (
	maxWaiting    = 32               // queued commands of one bay
	burst, perSec = 40, 10           // messages of one bay that are read at all
	holdBurst     = 6                // unsigned holds of one bay, each of which
	holdEvery     = 10 * time.Second // is written to the logbook
	answerWithin  = 5 * time.Second  // how long an order waits for its tick
	keptOpen      = 64               // answers to open commands, for repeats
	keptSigned    = 1024             // answers to signed commands
	// keptFor is longer than a signed command can be valid, even with skewed
	// clocks: within it no signature counts twice.
	keptFor = 2 * maxExpiry
	skew    = time.Minute // how far a sender's clock may be ahead
)

// inbound is one message on a command topic.
type inbound struct {
	payload  []byte
	retained bool
}

// desk reads the commands of one bay, one after the other, in order.
type desk struct {
	c     *Client
	bay   string
	queue chan inbound

	mu      sync.Mutex // guards the fields below
	rate    bucket
	dropped int // commands dropped since the last answer about them

	// Only the reading goroutine touches these.
	holds        bucket
	open, signed memory
}

func newDesk(c *Client, bayName string) *desk {
	return &desk{
		c: c, bay: bayName, queue: make(chan inbound, maxWaiting),
		rate: bucket{level: burst}, holds: bucket{level: holdBurst},
		open: memory{most: keptOpen}, signed: memory{most: keptSigned, keep: true},
	}
}

// take queues a message and never waits. It is called in the library's own
// goroutine, which must not block.
func (d *desk) take(m inbound) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if !d.rate.take(time.Now(), burst, time.Second/perSec) {
		d.drop()
		return
	}
	select {
	case d.queue <- m:
	default:
		d.drop()
	}
}

func (d *desk) drop() {
	d.dropped++
	d.c.refused.Add(1)
}

// turnAway answers a command that does not reach the bay.
func (d *desk) turnAway(c *command, wrong *refusal) Response {
	d.c.refused.Add(1)
	return d.c.response(d.bay, c, wrong)
}

// work reads until ctx ends.
func (d *desk) work(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case m := <-d.queue:
			d.c.answer(d.bay, d.read(ctx, m))
			d.tellDropped()
		}
	}
}

// tellDropped sends one answer for all commands that were not read.
func (d *desk) tellDropped() {
	d.mu.Lock()
	n := d.dropped
	d.dropped = 0
	d.mu.Unlock()
	if n > 0 {
		d.c.opt.Log.Warn("commands were not read: too many at once", "bay", d.bay, "commands", n)
		d.c.answer(d.bay, d.c.response(d.bay, &command{}, refuse(Busy, "%d commands were not read: too many at once", n)))
	}
}

// read turns a message into an answer. It is the only entry for bytes from outside.
func (d *desk) read(ctx context.Context, m inbound) Response {
	if len(m.payload) > maxCommandBytes {
		return d.turnAway(&command{}, refuse(TooLarge, "the command is larger than %d bytes", maxCommandBytes))
	}
	c, who, wrong := d.c.judge(d.bay, m)
	if wrong != nil {
		return d.turnAway(&c, wrong)
	}
	mem := &d.open
	if who != nil {
		mem = &d.signed
	}
	now, sum := time.Now(), sha256.Sum256(m.payload)
	if old := mem.find(c.ID, now); old != nil {
		if old.sum == sum {
			return old.answer
		}
		return d.turnAway(&c, refuse(Repeated, "another command had this id"))
	}
	if wrong := d.admit(&c, mem, now); wrong != nil {
		return d.turnAway(&c, wrong)
	}
	r := d.carryOut(ctx, &c, who)
	mem.add(c.ID, now, kept{sum, now, r})
	return r
}

// admit refuses commands that would fill the record or the memory.
func (d *desk) admit(c *command, mem *memory, now time.Time) *refusal {
	switch {
	case mem.full(now):
		return refuse(Busy, "too many signed commands in the last hours")
	case c.Kind == order.Hold && mem == &d.open && !d.holds.take(now, holdBurst, holdEvery):
		return refuse(Busy, "too many holds: one every %.0f s is accepted", holdEvery.Seconds())
	}
	return nil
}

// carryOut sends the order to the bay, as the page does, and waits for the
// result.
func (d *desk) carryOut(ctx context.Context, c *command, who *Person) Response {
	if c.name == askState {
		d.c.latest.urge(d.c.opt.Topics.State(d.bay))
		d.c.stir()
		return d.c.done(d.bay, c, "The state is published.")
	}
	id, by := "open/"+c.ID, c.By+" (not proven)"
	if who != nil {
		id, by = c.ID, who.Name
	}
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	event, err := d.c.opt.Submit(ctx, d.bay, c.bayOrder(id, by))
	switch {
	case errors.Is(err, order.ErrNotOnRecord):
		r := d.c.done(d.bay, c, words.EnglishSI().NotOnRecord(&event))
		r.Result = InForce
		return r
	case err != nil:
		r := d.c.response(d.bay, c, refuse(NoAnswer,
			"the bay did not answer, so it is not known whether the order was carried out: check its state and events"))
		r.Result = Unknown
		return r
	case event.Kind == bay.OrderRefused:
		r := d.c.response(d.bay, c, refuse(Refused, "%s", words.EnglishSI().Event(&event)))
		r.Faults = view.WrongOf(&event.Why)
		return r
	}
	return d.c.done(d.bay, c, words.EnglishSI().Event(&event))
}

// deskOf returns the desk for a command topic's bay, nil for any other topic.
func (c *Client) deskOf(topic string) *desk {
	rest, ok := strings.CutPrefix(topic, c.opt.Topics.prefix())
	bayName, leaf, _ := strings.Cut(rest, "/")
	if !ok || leaf != "command" {
		return nil
	}
	return c.desks[bayName]
}

// bucket lets some messages through at once and further ones at a rate.
type bucket struct {
	level float64
	last  time.Time
}

func (b *bucket) take(now time.Time, size float64, every time.Duration) bool {
	if !b.last.IsZero() {
		b.level = min(size, b.level+float64(now.Sub(b.last))/float64(every))
	}
	b.last = now
	if b.level < 1 {
		return false
	}
	b.level--
	return true
}

// memory records which commands were carried out, and their results. It is not the
// core's memory of order IDs: it keeps the answer, so that a repeat gets the same
// one, and it keeps a signed command for as long as its signature could be replayed.
type memory struct {
	most int
	keep bool // every entry for keptFor, even when the memory is full
	ids  map[string]kept
	line []string // ids, oldest first
}

type kept struct {
	sum    [sha256.Size]byte
	at     time.Time
	answer Response
}

func (m *memory) find(id string, now time.Time) *kept {
	m.forget(now)
	if k, ok := m.ids[id]; ok {
		return &k
	}
	return nil
}

func (m *memory) full(now time.Time) bool {
	m.forget(now)
	return m.keep && len(m.line) >= m.most
}

func (m *memory) add(id string, now time.Time, k kept) {
	m.forget(now)
	if m.ids == nil {
		m.ids = map[string]kept{}
	}
	m.ids[id] = k
	m.line = append(m.line, id)
}

func (m *memory) forget(now time.Time) {
	for len(m.line) > 0 && (now.Sub(m.ids[m.line[0]].at) > keptFor || !m.keep && len(m.line) >= m.most) {
		delete(m.ids, m.line[0])
		m.line = m.line[1:]
	}
}
