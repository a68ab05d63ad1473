package dial

import (
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/gpio/gpiotest"

	"bayward/agent/lease"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// patience bounds every wait for something that must come.
const patience = 10 * time.Second

// listener plays the keeper's end of a socket.
type listener struct {
	*net.UnixListener
	t *testing.T
}

func listen(t *testing.T, path string) listener {
	l, err := net.ListenUnix("unixpacket", &net.UnixAddr{Name: path, Net: "unixpacket"})
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	return listener{l, t}
}

func (l listener) accept() *net.UnixConn {
	require.NoError(l.t, l.SetDeadline(time.Now().Add(patience)))
	c, err := l.AcceptUnix()
	require.NoError(l.t, err)
	require.NoError(l.t, c.SetDeadline(time.Now().Add(patience)))
	l.t.Cleanup(func() { _ = c.Close() })
	return c
}

// exchange asks in the background; the error comes when the link has given up or has
// the answer.
func exchange(l *Link) (answer *[lease.AnswerSize]byte, ended chan error) {
	answer, ended = new([lease.AnswerSize]byte), make(chan error, 1)
	request := [lease.RequestSize]byte{1, 2, 3}
	go func() { ended <- l.Exchange(&request, answer) }()
	return answer, ended
}

// hungUp requires that the link drops the connection.
func hungUp(t *testing.T, c *net.UnixConn) {
	t.Helper()
	buf := make([]byte, 64)
	for {
		n, err := c.Read(buf)
		if n == 0 { // the end of a socket of records is an empty one
			require.NotErrorIs(t, err, os.ErrDeadlineExceeded)
			return
		}
	}
}

// TestBrokenConnections: whatever the keeper's end does wrong, the link drops the
// connection and comes back with a new one.
func TestBrokenConnections(t *testing.T) {
	for name, fault := range map[string]func(*testing.T, *net.UnixConn){
		"no answer":       func(*testing.T, *net.UnixConn) {},
		"hangs up":        func(t *testing.T, c *net.UnixConn) { require.NoError(t, c.CloseWrite()) },
		"a short answer":  func(t *testing.T, c *net.UnixConn) { write(t, c, make([]byte, lease.AnswerSize-1)) },
		"a long answer":   func(t *testing.T, c *net.UnixConn) { write(t, c, make([]byte, lease.AnswerSize+1)) },
		"a very long one": func(t *testing.T, c *net.UnixConn) { write(t, c, make([]byte, 4000)) },
	} {
		t.Run(name, func(t *testing.T) {
			server, link, conn := connected(t)
			_, ended := exchange(link)
			require.Equal(t, lease.RequestSize, len(read(t, conn)))
			fault(t, conn)
			require.Error(t, <-ended)
			hungUp(t, conn)
			answers(t, server, link)
		})
	}
}

// TestDropped: the client has found an answer wrong.
func TestDropped(t *testing.T) {
	server, link, conn := connected(t)
	link.Drop()
	hungUp(t, conn)
	answers(t, server, link)
	link.Drop()
	link.Drop()
	answers(t, server, link)
}

// TestGoneBetweenTwoTicks: a keeper that ends is noticed by the next exchange.
func TestGoneBetweenTwoTicks(t *testing.T) {
	server, link, conn := connected(t)
	require.NoError(t, conn.Close())
	_, ended := exchange(link)
	require.Error(t, <-ended)
	answers(t, server, link)
}

// connected returns the two ends of a connection, and where the next one arrives.
func connected(t *testing.T) (listener, *Link, *net.UnixConn) {
	path := filepath.Join(t.TempDir(), "s")
	server := listen(t, path)
	link := newLink(path, time.Millisecond)
	t.Cleanup(func() { _ = link.Close() })
	return server, link, server.accept()
}

// answers requires that the link connects again and works.
func answers(t *testing.T, server listener, link *Link) {
	t.Helper()
	conn := server.accept()
	connected := func() bool { link.mu.Lock(); defer link.mu.Unlock(); return link.conn != nil }
	require.Eventually(t, connected, patience, time.Millisecond)
	answer, ended := exchange(link)
	require.Equal(t, []byte{1, 2, 3}, read(t, conn)[:3])
	write(t, conn, append([]byte("an answer"), make([]byte, lease.AnswerSize-9)...))
	require.NoError(t, <-ended)
	require.Equal(t, "an answer", string(answer[:9]))
}

func read(t *testing.T, c *net.UnixConn) []byte {
	t.Helper()
	buf := make([]byte, 64)
	n, err := c.Read(buf)
	require.NoError(t, err)
	return buf[:n]
}

func write(t *testing.T, c *net.UnixConn, b []byte) {
	_, err := c.Write(b)
	require.NoError(t, err)
}

// TestNobodyThere: a keeper that comes later is found, and until then there is an
// error that says why.
func TestNobodyThere(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	link := newLink(path, time.Millisecond)
	defer link.Close()
	_, ended := exchange(link)
	err := <-ended
	require.ErrorIs(t, err, ErrAway)
	require.ErrorIs(t, err, os.ErrNotExist)
	listen(t, path).accept()
}

// TestClosed: a closed link asks nobody and does not come back.
func TestClosed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	server := listen(t, path)
	link := newLink(path, time.Millisecond)
	conn := server.accept()
	require.NoError(t, link.Close())
	hungUp(t, conn)
	_, ended := exchange(link)
	require.ErrorIs(t, <-ended, ErrAway)
	require.NoError(t, link.Close(), "once more")
}

// TestThroughTheSocket leases a relay from a real keeper behind a socket, and loses it
// with a frame of the link that the keeper refuses.
func TestThroughTheSocket(t *testing.T) {
	path := filepath.Join(t.TempDir(), "s")
	server := listen(t, path)
	pin := &gpiotest.Pin{N: "GPIO17", L: gpio.High}
	row := lease.Row{Bay: "bay-1", Charge: "GPIO17"}
	keeper, err := lease.NewKeeper([]lease.Lines{{Row: row, Charge: pin}})
	require.NoError(t, err)
	link := newLink(path, time.Millisecond)
	conn := server.accept()
	served := make(chan error, 1)
	go func() { served <- serve(conn, keeper) }()

	relay := lease.NewClient(link).Relay(row)
	require.NoError(t, relay.Lease(time.Hour, lease.Longest, true))
	require.True(t, relay.Closed())
	require.ErrorIs(t, relay.Lease(time.Hour+1, lease.Longest, true), lease.ErrSilent, "from the future: the keeper hangs up")
	require.False(t, relay.Closed())
	require.ErrorIs(t, <-served, lease.ErrPeer)
	require.Equal(t, gpio.Low, pin.L)
	require.NoError(t, link.Close())
}

// serve answers at one instant until a frame is refused.
func serve(conn *net.UnixConn, k *lease.Keeper) error {
	defer conn.Close()
	buf, answer := make([]byte, 64), [lease.AnswerSize]byte{}
	for {
		n, err := conn.Read(buf)
		if err != nil {
			return err
		}
		if err := k.Answer(time.Hour, buf[:n], &answer); err != nil {
			return err
		}
		if _, err := conn.Write(answer[:]); err != nil {
			return err
		}
	}
}

// starved is a connection of a program that has no time to run: the first read and the
// first write find their deadline passed.
type starved struct {
	net.Conn
	read, written bool
}

func (c *starved) Read(b []byte) (int, error) {
	if !c.read {
		c.read = true
		return 0, os.ErrDeadlineExceeded
	}
	return c.Conn.Read(b)
}

func (c *starved) Write(b []byte) (int, error) {
	if !c.written {
		c.written = true
		return 0, os.ErrDeadlineExceeded
	}
	return c.Conn.Write(b)
}

// TestStarved: an answer that came in time is taken, even if this program looks late.
func TestStarved(t *testing.T) {
	_, link, conn := connected(t)
	link.mu.Lock()
	link.conn = &starved{Conn: link.conn}
	link.mu.Unlock()
	write(t, conn, append([]byte("an answer"), make([]byte, lease.AnswerSize-9)...))
	answer, ended := exchange(link)
	require.NoError(t, <-ended)
	require.Equal(t, "an answer", string(answer[:9]))
}
