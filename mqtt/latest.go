package mqtt

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"bayward/agent/view"
)

// message is one publication.
type message struct {
	topic    string
	qos      byte
	retained bool
	payload  []byte
}

// latest holds the newest payload of each retained topic. It overwrites older
// ones, so a broker that is gone for days costs no memory.
type latest struct {
	every time.Duration // the longest wait of a newer payload

	mu    sync.Mutex // guards the fields below
	boxes map[string]*box
	order []string // topics, sorted
}

// box is the newest payload of one topic.
type box struct {
	qos     byte
	payload []byte
	gist    string    // a change of this is published at once
	urgent  bool      // to be sent now
	newer   bool      // than the payload last sent
	sent    time.Time // time of the last sending
}

func newLatest(every time.Duration) *latest {
	return &latest{every: every, boxes: map[string]*box{}}
}

// put replaces a payload and reports whether it is due.
func (l *latest) put(topic string, qos byte, gist string, payload []byte) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	b := l.boxes[topic]
	if b == nil {
		b = &box{urgent: true}
		l.boxes[topic] = b
		l.order = append(l.order, topic)
		slices.Sort(l.order)
	}
	b.newer = b.newer || !bytes.Equal(payload, b.payload)
	b.urgent = b.urgent || gist != b.gist
	b.payload, b.gist, b.qos = payload, gist, qos
	return l.due(b)
}

func (l *latest) due(b *box) bool {
	return b.urgent || b.newer && time.Since(b.sent) >= l.every
}

// take returns up to limit messages that are due and counts them as sent. If
// they do not arrive, the connection has failed, and the next one begins by
// calling again.
func (l *latest) take(limit int) []message {
	l.mu.Lock()
	defer l.mu.Unlock()
	var out []message
	for _, topic := range l.order {
		if b := l.boxes[topic]; len(out) < limit && l.due(b) {
			out = append(out, message{topic, b.qos, true, b.payload})
			b.urgent, b.newer, b.sent = false, false, time.Now()
		}
	}
	return out
}

// urge makes the payload of one topic due, if there is one.
func (l *latest) urge(topic string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if b := l.boxes[topic]; b != nil {
		b.urgent = true
	}
}

// again makes every payload due, because the broker may have none of them.
func (l *latest) again() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, b := range l.boxes {
		b.urgent = true
	}
}

// gist returns what a person would call a change: not every millivolt.
func gist(v *view.View) string {
	var b strings.Builder
	fmt.Fprint(&b, v.Pack, "|", v.Stage, "|", v.Permit, "|", v.Full, "|", v.FullEvidence, "|", v.FullDoubt, "|", v.EqualizeDue)
	for i := range v.Findings {
		fmt.Fprint(&b, "|", v.Findings[i].Code, v.Findings[i].Latched)
	}
	for _, f := range v.Faults {
		fmt.Fprint(&b, "|", f.Sensor, f.Fault)
	}
	if v.Visit != nil {
		fmt.Fprint(&b, "|", v.Visit.By, v.Visit.OnlyCoverPlates, v.Visit.GivenML)
		fmt.Fprint(&b, "|", v.Visit.BareCells)
		for _, c := range v.Visit.Cells {
			fmt.Fprint(&b, "|", c.Cell, c.How, c.DrawnML, c.Dry, known(c.LevelBeforeMM), known(c.LevelAfterMM), known(c.Gravity), known(c.AtC), c.By, c.Done)
		}
	}
	return b.String()
}

// known returns a value for comparison.
func known(v *float64) any {
	if v == nil {
		return nil
	}
	return *v
}
