package main

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/gpio"

	"bayward/agent/lease"
	"bayward/agent/lease/dial"
)

// The tests start this test's own program as a keeper on lines that are a pipe, or as
// an agent.
const (
	asKeeper = "BAYWARD_TEST_KEEPER" // the socket's path
	asAgent  = "BAYWARD_TEST_AGENT"  // the same
	// for a keeper whose orders are as cheap as those of the kernel's lines, and unseen
	plainLines = "BAYWARD_TEST_PLAIN"
)

func TestMain(m *testing.M) {
	switch {
	case os.Getenv(asKeeper) != "":
		os.Exit(execute(os.Args[1:], pipeLines(os.Getenv(asKeeper)), os.Stdout, os.Stderr))
	case os.Getenv(asAgent) != "":
		os.Exit(agent(os.Getenv(asAgent)))
	}
	os.Exit(m.Run())
}

// pipeLine is an output that reports every order on file 3: its name, the level, the
// time since boot, and whether the keeper's socket exists.
type pipeLine struct {
	name, socket string
	to           io.Writer
}

func pipeLines(socket string) finder {
	to := os.NewFile(3, "lines")
	return func(name string) line {
		if os.Getenv(plainLines) != "" {
			return plainLine{}
		}
		if name == "GPIO9" {
			return missing{fmt.Errorf("no line %s", name)}
		}
		return &pipeLine{name, socket, to}
	}
}

func (l *pipeLine) Out(level gpio.Level) error {
	_, err := os.Lstat(l.socket)
	_, _ = fmt.Fprintf(l.to, "%s %v %d %v\n", l.name, level, bootTime(), err == nil)
	if l.name == "GPIO13" && level == gpio.High {
		panic("line 13")
	}
	return nil
}

type plainLine struct{}

func (plainLine) Out(gpio.Level) error { _ = syscall.Getppid(); return nil }

func (plainLine) Close() {}

func (l *pipeLine) Close() { _, _ = fmt.Fprintf(l.to, "%s closed %d false\n", l.name, bootTime()) }

// agent renews the lease of a bay until its end, and prints the time of each lease
// that it has been given.
func agent(socket string) int {
	link := dial.New(socket)
	relay := lease.NewClient(link).Relay(lease.Row{Bay: "bay-1", Charge: "GPIO17", Heartbeat: "GPIO27"})
	for range time.Tick(20 * time.Millisecond) {
		if at := bootTime(); relay.Lease(at, lease.Longest, true) == nil && relay.Closed() {
			fmt.Println(int64(at))
		}
	}
	return exitDone
}

// patience bounds every wait for something that must come.
const patience = 20 * time.Second

// order is what a keeper has done with a line.
type order struct {
	line, level string
	at          time.Duration
	listening   bool
}

// process is a keeper of its own on a pipe of lines.
type process struct {
	t       testing.TB
	cmd     *exec.Cmd
	socket  string
	orders  chan order
	said    *strings.Builder // complete after ended
	ended   chan struct{}
	manager *net.UnixConn
}

const oneBay = "user 4711\nbay-1 GPIO17 GPIO27\n"

// start runs a keeper with a list. Args come before the name of its file.
func start(t testing.TB, list string, args ...string) *process {
	return startWith(t, list, func(*exec.Cmd) {}, args...)
}

func startWith(t testing.TB, list string, change func(*exec.Cmd), args ...string) *process {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.Chmod(filepath.Dir(dir), 0o755)) // for the test with another user
	file := filepath.Join(dir, "lines")
	require.NoError(t, os.WriteFile(file, []byte(list), 0o600))
	p := &process{t: t, socket: filepath.Join(dir, "s"), orders: make(chan order, 10000), said: &strings.Builder{}, ended: make(chan struct{})}
	if len(args) == 0 {
		args = []string{"-socket", p.socket}
	}
	p.cmd = exec.CommandContext(t.Context(), os.Args[0], append(args, file)...)
	p.manager = listenAsManager(t, filepath.Join(dir, "n"))
	p.cmd.Env = append(os.Environ(), asKeeper+"="+p.socket, "NOTIFY_SOCKET="+filepath.Join(dir, "n"))
	p.cmd.Stdout, p.cmd.Stderr = p.said, p.said
	from, to, err := os.Pipe()
	require.NoError(t, err)
	p.cmd.ExtraFiles = []*os.File{to}
	change(p.cmd)
	require.NoError(t, p.cmd.Start())
	require.NoError(t, to.Close())
	go p.read(from)
	go func() { _ = p.cmd.Wait(); close(p.ended) }()
	t.Cleanup(func() { _ = p.cmd.Process.Kill(); <-p.ended })
	return p
}

func listenAsManager(t testing.TB, name string) *net.UnixConn {
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
	require.NoError(t, err)
	t.Cleanup(func() { _ = c.Close() })
	return c
}

// ready starts a keeper and waits until it listens.
func ready(t testing.TB, list string) *process {
	t.Helper()
	p := start(t, list)
	require.Equal(t, "READY=1", p.heard())
	return p
}

// read takes orders until the process ends.
func (p *process) read(from *os.File) {
	defer from.Close()
	for lines := bufio.NewScanner(from); lines.Scan(); {
		var o order
		if _, err := fmt.Sscan(lines.Text(), &o.line, &o.level, &o.at, &o.listening); err != nil {
			panic(err)
		}
		p.orders <- o
	}
	close(p.orders)
}

// next returns the next order.
func (p *process) next() order {
	p.t.Helper()
	select {
	case o, open := <-p.orders:
		require.True(p.t, open, "the keeper has ended")
		return o
	case <-time.After(patience):
	}
	require.FailNow(p.t, "the keeper has done nothing for too long")
	return order{}
}

// until returns the next order of that line and level.
func (p *process) until(line, level string) order {
	p.t.Helper()
	for {
		if o := p.next(); o.line == line && o.level == level {
			return o
		}
	}
}

// end waits for the end and returns the exit code and the orders that were left.
func (p *process) end() (code int, left []order) {
	p.t.Helper()
	select {
	case <-p.ended:
	case <-time.After(patience):
		require.FailNow(p.t, "the keeper does not end")
	}
	for o := range p.orders {
		left = append(left, o)
	}
	return p.cmd.ProcessState.ExitCode(), left
}

// last returns the last order for each line.
func last(orders []order) map[string]string {
	levels := map[string]string{}
	for _, o := range orders {
		if o.level != "closed" {
			levels[o.line] = o.level
		}
	}
	return levels
}

// heard returns the next message to the service manager.
func (p *process) heard() string {
	p.t.Helper()
	require.NoError(p.t, p.manager.SetReadDeadline(time.Now().Add(patience)))
	buf := make([]byte, 100)
	n, err := p.manager.Read(buf)
	require.NoError(p.t, err)
	return string(buf[:n])
}

// peer is an agent by hand.
type peer struct {
	*net.UnixConn
	t        testing.TB
	sequence uint64
}

func (p *process) connect() *peer {
	p.t.Helper()
	c, err := net.DialUnix("unixpacket", nil, &net.UnixAddr{Name: p.socket, Net: "unixpacket"})
	require.NoError(p.t, err)
	p.t.Cleanup(func() { _ = c.Close() })
	return &peer{UnixConn: c, t: p.t}
}

// send writes a frame for oneBay as protocol.go describes it.
func (c *peer) send(at, span time.Duration, trips uint32) {
	c.t.Helper()
	c.sequence++
	_, err := c.Write(frame(c.sequence, at, span, trips))
	require.NoError(c.t, err)
}

func frame(sequence uint64, at, span time.Duration, trips uint32) []byte {
	b := []byte{'b', 'k', 1, 'L'}
	b = binary.LittleEndian.AppendUint32(b, crc32.ChecksumIEEE([]byte("bay-1 GPIO17 GPIO27")))
	b = binary.LittleEndian.AppendUint64(b, sequence)
	b = binary.LittleEndian.AppendUint64(b, uint64(at))
	b = binary.LittleEndian.AppendUint16(b, uint16(span.Milliseconds()))
	return binary.LittleEndian.AppendUint32(append(b, 1, 0), trips)
}

// answer is the keeper's, taken apart by hand.
type answer struct {
	sequence uint64
	trips    uint32
	closed   bool
	fault    byte
}

func (c *peer) receive() answer {
	c.t.Helper()
	buf := make([]byte, 100)
	require.NoError(c.t, c.SetReadDeadline(time.Now().Add(patience)))
	n, err := c.Read(buf)
	require.NoError(c.t, err)
	require.Equal(c.t, 24, n)
	return answer{binary.LittleEndian.Uint64(buf[8:]), binary.LittleEndian.Uint32(buf[16:]), buf[20] == 1, buf[21]}
}

// hungUp requires that the keeper ends the connection.
func (c *peer) hungUp() {
	c.t.Helper()
	require.NoError(c.t, c.SetReadDeadline(time.Now().Add(patience)))
	for n := 1; n > 0; {
		var err error
		n, err = c.Read(make([]byte, 100))
		require.NotErrorIs(c.t, err, os.ErrDeadlineExceeded)
	}
}

func crc(row string) []byte {
	return binary.LittleEndian.AppendUint32(nil, crc32.ChecksumIEEE([]byte(row)))
}
