package lease

import (
	"sync"
	"time"
)

// Local is a keeper within the agent's process, for simulated lines: the same frames
// without a socket.
type Local struct {
	now func() time.Duration

	mu     sync.Mutex // guards the fields below
	keeper *Keeper
	timer  *time.Timer
}

// NewLocal lets a keeper work by the clock now, the same that its client stamps
// frames with.
func NewLocal(k *Keeper, now func() time.Duration) *Local {
	l := &Local{now: now, keeper: k}
	l.timer = time.AfterFunc(time.Hour, l.expire)
	l.timer.Stop()
	return l
}

func (l *Local) expire() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.keeper.Expire(l.now())
	l.wake()
}

// wake sets the timer. The caller holds the mutex.
func (l *Local) wake() {
	l.timer.Stop()
	if d := l.keeper.Next(l.now()); d >= 0 {
		l.timer.Reset(d)
	}
}

// Exchange implements Link.
func (l *Local) Exchange(request *[RequestSize]byte, answer *[AnswerSize]byte) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	defer l.wake()
	return l.keeper.Answer(l.now(), request[:], answer)
}

// Drop implements Link.
func (l *Local) Drop() { _ = l.Close() }

// Close opens every relay.
func (l *Local) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	defer l.wake()
	return l.keeper.Release()
}

var _ Link = (*Local)(nil)
