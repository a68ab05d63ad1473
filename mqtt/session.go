package mqtt

import (
	"context"
	"fmt"
	"time"
)

// peer is one connection to a broker. It is never reused.
type peer interface {
	publish(m message) token // may wait for the library's write timeout
	// subscribe requests the messages of a filter. take must not wait. Once the
	// token has ended without an error, granted reports whether the broker will
	// send them.
	subscribe(filter string, qos byte, take func(topic string, m inbound)) (tok token, granted func() bool)
	gone() <-chan struct{} // closed when the connection is lost
	cause() error          // why, once it is
	leave()                // disconnects cleanly: the broker does not send the will
	abort()                // cuts the wire: the broker sends the will
}

// token is the outcome of one publication.
type token interface {
	Done() <-chan struct{}
	Error() error
}

// session is the use of one connection.
type session struct {
	*Client
	peer    peer
	echoes  echoes
	triedAt time.Time // when the outbox was last read
}

// use subscribes, publishes the birth message, the retained payloads and the
// outbox, in this order, and then whatever comes, until the connection is lost or
// ctx ends.
func (s *session) use(ctx context.Context) error {
	if err := s.listen(ctx); err != nil {
		return err
	}
	if err := s.hear(ctx); err != nil {
		return err
	}
	if err := s.follow(ctx); err != nil {
		return err
	}
	now := s.opt.Now()
	birth, err := s.status(Status{Online: true, Since: &now})
	if err != nil {
		return err
	}
	if _, err := s.publish(ctx, message{s.opt.Topics.Status(), s.opt.QoS.Status, true, birth}); err != nil {
		return err
	}
	s.latest.again()
	s.unsent.Store(true)
	for {
		busy, err := s.round(ctx)
		if err != nil {
			return err
		}
		if busy {
			continue
		}
		if err := s.idle(ctx); err != nil {
			return err
		}
	}
}

// listen subscribes to commands, if orders are accepted. If the broker does not
// grant the subscription, events are still published.
func (s *session) listen(ctx context.Context) error {
	if len(s.desks) == 0 {
		return nil
	}
	ctx, cancel := context.WithTimeoutCause(ctx, ackWithin, errNoAck)
	defer cancel()
	filter := s.opt.Topics.Command("+")
	tok, granted := s.peer.subscribe(filter, s.opt.QoS.Command, func(topic string, m inbound) {
		if d := s.deskOf(topic); d != nil {
			d.take(m)
		}
	})
	if err := s.fate(ctx, tok); err != nil {
		return fmt.Errorf("subscribe to commands: %w", err)
	}
	if granted() {
		s.deafTold = false
	} else if !s.deafTold {
		s.deafTold = true
		s.opt.Log.Warn("the broker does not grant the subscription to commands: check its access list", "topic", filter)
	}
	return nil
}

// round sends one window of answers, else of retained payloads, else of events,
// and reports whether there may be more.
func (s *session) round(ctx context.Context) (busy bool, err error) {
	if due := s.answers.first(s.opt.MaxInFlight); len(due) > 0 {
		n, err := s.publish(ctx, due...)
		s.answers.drop(n)
		return true, err
	}
	if due := s.latest.take(s.opt.MaxInFlight); len(due) > 0 {
		n, err := s.publish(ctx, due...)
		s.retained.Add(uint64(n))
		return true, err
	}
	if !s.outboxDue() {
		return false, nil
	}
	return s.outbox(ctx)
}

// outboxDue reports whether the outbox is to be read now.
func (s *session) outboxDue() bool {
	if s.lost.Load() && time.Since(s.triedAt) < s.echoRetry {
		return false
	}
	s.triedAt = time.Now()
	return s.unsent.Swap(false)
}

// outbox sends one window of events and moves the cursor past those that the
// broker has acknowledged. It runs again unless the outbox was empty.
func (s *session) outbox(ctx context.Context) (busy bool, err error) {
	limit := s.opt.MaxInFlight
	if s.lost.Load() {
		limit = 1 // a reader may get it again at each try
	}
	evs, err := s.opt.Outbox.Unsent(ctx, limit)
	if err != nil || len(evs) > 0 {
		s.unsent.Store(true)
	}
	if err != nil || len(evs) == 0 {
		s.disk(ctx, err)
		return false, nil
	}
	msgs := make([]message, len(evs))
	for i, e := range evs {
		payload, err := e.JSON()
		if err != nil {
			return false, err
		}
		msgs[i] = message{s.opt.Topics.Event(e.Bay), s.opt.QoS.Event, false, payload}
	}
	n, err := s.publishEvents(ctx, msgs)
	s.events.Add(uint64(n))
	moved := s.confirm(ctx, evs[:n])
	s.disk(ctx, moved)
	return moved == nil && !s.lost.Load(), err
}

// confirm records in the outbox what the broker has, even while stopping.
func (s *session) confirm(ctx context.Context, acked []Event) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopWithin)
	defer cancel()
	last := map[string]uint64{}
	for _, e := range acked {
		last[e.Bay] = e.Seq
	}
	for bayName, seq := range last {
		if err := s.opt.Outbox.Sent(ctx, bayName, seq); err != nil {
			return err
		}
	}
	return nil
}

// disk notes whether the outbox is usable, and logs a change.
func (s *session) disk(ctx context.Context, err error) {
	if ctx.Err() == nil && err != nil && !s.diskTold {
		s.opt.Log.Error("outbox is unusable: events are not published, or are repeated", "err", err)
	}
	s.diskTold = err != nil
}

// retryIn returns after how long the outbox is to be tried again, 0 for not by itself.
func (s *session) retryIn() time.Duration {
	switch {
	case s.lost.Load():
		return s.echoRetry
	case s.diskTold:
		return diskRetry
	}
	return 0
}

// idle waits until there may be something to do.
func (s *session) idle(ctx context.Context) error {
	var retry <-chan time.Time
	if wait := s.retryIn(); wait > 0 {
		t := time.NewTimer(wait)
		defer t.Stop()
		retry = t.C
	}
	select {
	case <-s.wake:
	case <-retry:
	case <-s.peer.gone():
		return s.peer.cause()
	case <-ctx.Done():
		return ctx.Err()
	}
	return nil
}

// publish sends messages in order and waits for the acknowledgements. It returns
// how many of them, from the first on, the broker has. If that is not all, it
// returns an error, and the connection must not be used any more.
func (s *session) publish(ctx context.Context, msgs ...message) (acked int, err error) {
	ctx, cancel := context.WithTimeoutCause(ctx, ackWithin, errNoAck)
	defer cancel()
	tokens := s.send(ctx, msgs)
	for acked < len(msgs) {
		select {
		case tok := <-tokens:
			if err := s.fate(ctx, tok); err != nil {
				return acked, err
			}
			acked++
		case <-s.peer.gone():
			return acked, s.peer.cause()
		case <-ctx.Done():
			return acked, context.Cause(ctx)
		}
	}
	return acked, nil
}

// send publishes from a separate goroutine, because after a loss the library may
// block it for its whole write timeout. It stops at the first message that fails:
// if a later one got through, the order would be broken.
func (s *session) send(ctx context.Context, msgs []message) <-chan token {
	tokens := make(chan token, len(msgs))
	s.senders.Go(func() {
		for _, m := range msgs {
			if ctx.Err() != nil {
				return
			}
			tok := s.peer.publish(m)
			tokens <- tok
			if failed(tok) {
				return
			}
		}
	})
	return tokens
}

func failed(tok token) bool {
	select {
	case <-tok.Done():
		return tok.Error() != nil
	default:
		return false
	}
}

// fate waits for a token. It does not rely on the token alone, because one made
// while the connection broke may never end.
func (s *session) fate(ctx context.Context, tok token) error {
	select {
	case <-tok.Done():
		return tok.Error()
	case <-s.peer.gone():
		return s.peer.cause()
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// leave publishes offline itself, because after a clean disconnect the broker does
// not send the will.
func (s *session) leave() error {
	ctx, cancel := context.WithTimeoutCause(context.Background(), stopWithin, errNoAck)
	defer cancel()
	now := s.opt.Now()
	payload, err := s.status(Status{Reason: "shutdown", Since: &now})
	if err == nil {
		_, err = s.publish(ctx, message{s.opt.Topics.Status(), s.opt.QoS.Status, true, payload})
	}
	if err != nil {
		s.peer.abort() // then the broker sends the will
		return err
	}
	s.peer.leave()
	return nil
}
