// Package leasetest plays the keeper of a machine in tests.
package leasetest

import (
	"net"
	"path/filepath"
	"sync"
	"testing"

	"periph.io/x/conn/v3/gpio"

	"bayward/agent/bootclock"
	"bayward/agent/lease"
)

// Server is a keeper behind a socket, with one peer after the other. It opens relays
// whose lease has ended only when it is asked for something.
type Server struct {
	Path   string
	keeper *lease.Keeper
	socket net.Listener
	done   sync.WaitGroup

	mu   sync.Mutex // guards conn
	conn net.Conn
}

// Path returns where a test's keeper may listen.
func Path(t testing.TB) string {
	t.Helper()
	return filepath.Join(t.TempDir(), "keeper")
}

// Serve starts a keeper of the lines at a path. It ends with the test.
func Serve(t testing.TB, path string, lines []lease.Lines) *Server {
	t.Helper()
	k, err := lease.NewKeeper(lines)
	if err != nil {
		t.Fatal(err)
	}
	s := &Server{Path: path, keeper: k}
	if s.socket, err = net.ListenUnix("unixpacket", &net.UnixAddr{Name: path, Net: "unixpacket"}); err != nil {
		t.Fatal(err)
	}
	s.done.Go(s.accept)
	t.Cleanup(s.End)
	return s
}

// End is the keeper's end: every relay is open, and nobody listens.
func (s *Server) End() {
	_ = s.socket.Close()
	s.mu.Lock()
	if s.conn != nil {
		_ = s.conn.Close()
	}
	s.mu.Unlock()
	s.done.Wait()
}

func (s *Server) accept() {
	for {
		conn, err := s.socket.Accept()
		if err != nil {
			return
		}
		s.mu.Lock()
		s.conn = conn
		s.mu.Unlock()
		s.peer(conn)
		_ = conn.Close()
		_ = s.keeper.Release()
	}
}

func (s *Server) peer(conn net.Conn) {
	frame, answer := make([]byte, lease.RequestSize+1), [lease.AnswerSize]byte{}
	for {
		n, err := conn.Read(frame)
		if err != nil || n == 0 || s.keeper.Answer(bootclock.Clock{}.Now(), frame[:n], &answer) != nil {
			return
		}
		if _, err := conn.Write(answer[:]); err != nil {
			return
		}
	}
}

// Pin is a line that a test may look at while a keeper drives it.
type Pin struct {
	mu    sync.Mutex
	level gpio.Level
}

// Out implements lease.Output.
func (p *Pin) Out(l gpio.Level) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.level = l
	return nil
}

// Level returns what the line is driven to.
func (p *Pin) Level() gpio.Level {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.level
}
