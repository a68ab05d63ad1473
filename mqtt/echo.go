package mqtt

import (
	"context"
	"fmt"
	"sync"
	"time"
)

// A 3.1.1 broker acknowledges a message whose sender may not publish it, and drops it:
// the acknowledgement has no room for a reason (section 3.3.5). So the client subscribes
// to its own events, and an event counts as sent once the broker has delivered it here.
const (
	echoWithin = 20 * time.Second // limit for an acknowledged event to come back
	maxEcho    = maxPacket - 8    // bytes of topic and payload
	echoRetry  = 5 * time.Minute  // wait until the broker is asked again, with one event
)

// echoes are the events of one connection that are to come back. Only one window of them
// is awaited at a time.
type echoes struct {
	mu    sync.Mutex // guards the fields below
	await map[string]int
	back  []bool
	came  chan struct{}
}

// key is what makes two messages the same.
func key(topic string, payload []byte) string { return topic + "\x00" + string(payload) }

// expect notes what is about to be published.
func (e *echoes) expect(msgs []message) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.await, e.back, e.came = map[string]int{}, make([]bool, len(msgs)), make(chan struct{}, 1)
	for i := range msgs {
		e.await[key(msgs[i].topic, msgs[i].payload)] = i
		e.back[i] = len(msgs[i].topic)+len(msgs[i].payload) > maxEcho // the guard would cut it
	}
}

// take notes a message that came. It never waits.
func (e *echoes) take(topic string, m inbound) {
	e.mu.Lock()
	defer e.mu.Unlock()
	i, ours := e.await[key(topic, m.payload)]
	if !ours {
		return
	}
	e.back[i] = true
	select {
	case e.came <- struct{}{}:
	default:
	}
}

// proven returns how many messages, from the first on, have come back.
func (e *echoes) proven() (n int) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for n < len(e.back) && e.back[n] {
		n++
	}
	return n
}

// hear subscribes to this agent's own events. If that is refused, no event comes back.
func (s *session) hear(ctx context.Context) error {
	ctx, cancel := context.WithTimeoutCause(ctx, ackWithin, errNoAck)
	defer cancel()
	tok, granted := s.peer.subscribe(s.opt.Topics.Event("+"), s.opt.QoS.Event, s.echoes.take)
	if err := s.fate(ctx, tok); err != nil {
		return fmt.Errorf("subscribe to its own events: %w", err)
	}
	if !granted() {
		s.unproven()
	}
	return nil
}

// publishEvents publishes events and returns how many of them, from the first on, the
// broker has delivered here. If that is not all and the connection is good, err is nil
// and the events are unproven.
func (s *session) publishEvents(ctx context.Context, msgs []message) (proven int, err error) {
	s.echoes.expect(msgs)
	acked, err := s.publish(ctx, msgs...)
	wait := time.NewTimer(s.echoWithin)
	defer wait.Stop()
	for err == nil && s.echoes.proven() < acked {
		select {
		case <-s.echoes.came:
		case <-wait.C:
			s.unproven()
			return s.echoes.proven(), nil
		case <-s.peer.gone():
			err = s.peer.cause()
		case <-ctx.Done():
			err = context.Cause(ctx)
		}
	}
	if err == nil {
		s.lost.Store(false)
	}
	return min(acked, s.echoes.proven()), err
}

// unproven notes that the broker acknowledges events and does not deliver them.
func (s *session) unproven() {
	if !s.lost.Swap(true) {
		s.opt.Log.Error("the broker acknowledges events and does not deliver them: its access list must allow this client to publish and to read them; they wait in the logbook",
			"topic", s.opt.Topics.Event("+"), "client_id", s.opt.ClientID)
	}
}
