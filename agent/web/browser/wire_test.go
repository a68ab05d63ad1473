package browser_test

import (
	"io"
	"net"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// wire carries connections to the agent and can be cut, as a yard's network drops
// when a person walks behind a container.
type wire struct {
	listener net.Listener
	to       string

	mu     sync.Mutex // guards what follows
	broken bool
	open   map[net.Conn]bool
}

func newWire(t *testing.T, to string) *wire {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	w := &wire{listener: l, to: to, open: map[net.Conn]bool{}}
	t.Cleanup(func() {
		_ = l.Close()
		w.cut()
	})
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go w.carry(c)
		}
	}()
	return w
}

func (w *wire) address() string { return w.listener.Addr().String() }

func (w *wire) carry(c net.Conn) {
	up, err := net.Dial("tcp", w.to)
	if err != nil || !w.keep(c, up) {
		_ = c.Close()
		return
	}
	go func() { _, _ = io.Copy(up, c); _ = up.Close() }()
	_, _ = io.Copy(c, up)
	_ = c.Close()
}

func (w *wire) keep(all ...net.Conn) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, c := range all {
		w.open[c] = true
	}
	return !w.broken
}

func (w *wire) cut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.broken = true
	for c := range w.open {
		_ = c.Close()
	}
}

func (w *wire) repair() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.broken, w.open = false, map[net.Conn]bool{}
}
