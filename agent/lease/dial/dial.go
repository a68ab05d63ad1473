// Package dial connects an agent to the keeper in another process.
package dial

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"sync"
	"time"

	"bayward/agent/lease"
)

// Socket is where the keeper of a machine listens.
const Socket = "/run/bayward-keeper/socket"

const (
	within = 100 * time.Millisecond // one exchange, and one attempt to connect
	again  = time.Second            // between a broken connection and the next attempt
)

// ErrAway means that there is no connection now. The link keeps trying.
var ErrAway = errors.New("no connection to the keeper")

// Link is the agent's end of the keeper's socket. It implements lease.Link. After any
// error it drops the connection, so that the keeper opens every relay, and an answer
// that comes too late is never taken for another's. Until it has connected again, an
// exchange fails at once.
type Link struct {
	path  string
	again time.Duration
	stop  context.CancelFunc
	done  sync.WaitGroup

	mu    sync.Mutex // guards what follows
	conn  net.Conn   // nil when there is none
	cause error      // why there is none
	lost  chan struct{}
	buf   [lease.AnswerSize + 1]byte // one more, to notice an answer that is too long
}

// New tries once to connect to the keeper at path, and goes on in the background.
func New(path string) *Link { return newLink(path, again) }

func newLink(path string, again time.Duration) *Link {
	ctx, stop := context.WithCancel(context.Background())
	l := &Link{path: path, again: again, stop: stop, lost: make(chan struct{}, 1)}
	l.connect(ctx)
	l.done.Go(func() { l.reconnect(ctx) })
	return l
}

// Exchange implements lease.Link. A keeper that does not answer costs 110 ms.
func (l *Link) Exchange(request *[lease.RequestSize]byte, answer *[lease.AnswerSize]byte) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.conn == nil {
		return fmt.Errorf("%w: %w", ErrAway, l.cause)
	}
	err := l.exchange(request)
	if err != nil {
		l.drop(err)
		return err
	}
	copy(answer[:], l.buf[:])
	return nil
}

// exchange reads the answer into the buffer. The caller holds the mutex.
func (l *Link) exchange(request *[lease.RequestSize]byte) error {
	if _, err := l.inTime(l.conn.Write, request[:]); err != nil {
		return err
	}
	n, err := l.inTime(l.conn.Read, l.buf[:])
	if err == nil && n != lease.AnswerSize {
		return fmt.Errorf("the keeper's answer has %d bytes, not %d", n, lease.AnswerSize)
	}
	return err
}

// inTime writes or reads one frame. A deadline also passes while this program has no
// time to run, with an answer that lies there; so it looks once more.
func (l *Link) inTime(transfer func([]byte) (int, error), frame []byte) (n int, err error) {
	for _, patience := range []time.Duration{within, within / 10} {
		if err := l.conn.SetDeadline(time.Now().Add(patience)); err != nil {
			return 0, err
		}
		if n, err = transfer(frame); !errors.Is(err, os.ErrDeadlineExceeded) {
			break
		}
	}
	return n, err
}

// Drop implements lease.Link.
func (l *Link) Drop() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.drop(errors.New("dropped, for its answer was wrong"))
}

// drop breaks the connection, if there is one. The caller holds the mutex.
func (l *Link) drop(cause error) {
	if l.conn == nil {
		return
	}
	_ = l.conn.Close()
	l.conn, l.cause = nil, cause
	select {
	case l.lost <- struct{}{}:
	default:
	}
}

// connect tries once.
func (l *Link) connect(ctx context.Context) {
	d := net.Dialer{Timeout: within}
	conn, err := d.DialContext(ctx, "unixpacket", l.path)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.conn, l.cause = conn, err
	if err != nil {
		l.lost <- struct{}{} // has room: only a connection that is lost fills it
	}
}

// reconnect runs until ctx ends.
func (l *Link) reconnect(ctx context.Context) {
	pause := time.NewTimer(l.again)
	defer pause.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-l.lost:
		}
		pause.Reset(l.again)
		select {
		case <-ctx.Done():
			return
		case <-pause.C:
		}
		l.connect(ctx)
	}
}

// Close drops the connection for good.
func (l *Link) Close() error {
	l.stop()
	l.done.Wait()
	l.mu.Lock()
	defer l.mu.Unlock()
	l.drop(net.ErrClosed)
	return nil
}

var _ lease.Link = (*Link)(nil)
