package mqtt

import (
	"context"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"

	"bayward/mqtt/broker"
)

const patience = 60 * time.Second // limit for what must come; reached only on a failure

// proxy is a wire that a test can cut.
type proxy struct {
	l     net.Listener
	conns sync.WaitGroup

	mu     sync.Mutex // guards the fields below
	target string     // "" refuses
	open   []net.Conn
}

func newProxy(t *testing.T, target string) *proxy {
	t.Helper()
	l, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &proxy{l: l, target: target}
	p.conns.Go(p.serve)
	t.Cleanup(func() { _ = l.Close(); p.lead(""); p.conns.Wait() })
	return p
}

func (p *proxy) url() string { return "tcp://" + p.l.Addr().String() }

// lead cuts all connections and leads later ones to a target, or nowhere.
func (p *proxy) lead(target string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.target = target
	for _, c := range p.open {
		_ = c.Close()
	}
	p.open = nil
}

func (p *proxy) serve() {
	for {
		in, err := p.l.Accept()
		if err != nil {
			return
		}
		p.join(in)
	}
}

func (p *proxy) join(in net.Conn) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.target == "" {
		_ = in.Close()
		return
	}
	out, err := net.Dial("tcp", p.target)
	if err != nil {
		_ = in.Close()
		return
	}
	p.open = append(p.open, in, out)
	pipe := func(to, from net.Conn) {
		_, _ = io.Copy(to, from)
		_, _ = to.Close(), from.Close()
	}
	p.conns.Go(func() { pipe(in, out) })
	p.conns.Go(func() { pipe(out, in) })
}

// testBroker is a broker that a test can kill. It comes back empty, at
// another address.
type testBroker interface {
	start(t *testing.T, config ...string)
	addr() string
	kill(t *testing.T)
	// forgets reports whether the broker, when it ends, may lose messages that
	// it has acknowledged and not yet delivered.
	forgets() bool
}

// eachBroker runs a test against the broker in the program and a real one.
func eachBroker(t *testing.T, test func(t *testing.T, b testBroker)) {
	t.Run("embedded", func(t *testing.T) {
		b := &embedded{}
		b.start(t)
		t.Cleanup(func() { b.kill(t) })
		test(t, b)
	})
	t.Run("mosquitto", func(t *testing.T) { test(t, startMosquitto(t)) })
}

type embedded struct{ b *broker.Broker }

func (e *embedded) start(t *testing.T, _ ...string) {
	t.Helper()
	var err error
	e.b, err = broker.Start(context.Background(), broker.Options{Agents: []string{"bayward-quarry-road-shed-2"}, Log: quiet()})
	if err != nil {
		t.Fatal(err)
	}
}

func (e *embedded) addr() string  { return e.b.Addr() }
func (e *embedded) forgets() bool { return true }

func (e *embedded) kill(t *testing.T) {
	t.Helper()
	if err := e.b.Close(); err != nil {
		t.Error(err)
	}
}

type mosquitto struct {
	cmd   *exec.Cmd
	at    string
	whole func(port string) string // the configuration; nil is that of text
}

// startMosquitto needs the program mosquitto; without it the test is skipped, or
// fails under deploy/test.
func startMosquitto(t *testing.T, config ...string) *mosquitto {
	t.Helper()
	m := &mosquitto{}
	m.start(t, config...)
	t.Cleanup(func() { m.kill(t) })
	return m
}

func needProgram(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	if sbin := "/usr/sbin/" + name; fileExists(sbin) { // not in every PATH
		return sbin
	}
	if os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
		t.Fatalf("%s is not installed: apt-get install mosquitto mosquitto-clients", name)
	}
	t.Skipf("%s is not installed", name)
	return ""
}

func fileExists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func (m *mosquitto) start(t *testing.T, config ...string) {
	t.Helper()
	program := needProgram(t, "mosquitto")
	for range 20 { // a port that was free a moment ago may be taken by now
		if m.try(t, program, config) {
			return
		}
	}
	t.Fatal("mosquitto does not start")
}

// try starts the broker on a port that is free just now, and waits until it
// reports that it runs.
func (m *mosquitto) try(t *testing.T, program string, config []string) bool {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	m.at = l.Addr().String()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	_, port, _ := net.SplitHostPort(m.at)
	file := filepath.Join(t.TempDir(), "mosquitto.conf")
	if err := os.WriteFile(file, []byte(m.text(port, config)), 0o600); err != nil {
		t.Fatal(err)
	}
	m.cmd = exec.Command(program, "-c", file)
	up := &watcher{want: " running", found: make(chan struct{})}
	m.cmd.Stderr = up
	if err := m.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { _ = m.cmd.Wait(); close(ended) }()
	select {
	case <-up.found:
		return true
	case <-ended:
		t.Logf("mosquitto: %s", up.text)
		return false
	case <-time.After(patience):
		t.Fatal("mosquitto prints nothing")
		return false
	}
}

// text returns the configuration: open to all unless some lines are given.
func (m *mosquitto) text(port string, config []string) string {
	common := "user root\nlog_dest stderr\nlog_type all\n"
	if m.whole != nil {
		return common + m.whole(port)
	}
	if len(config) == 0 {
		config = []string{"allow_anonymous true"}
	}
	lines := []string{
		"listener " + port + " 127.0.0.1", "persistence false", "set_tcp_nodelay true", "max_inflight_messages 0", "max_queued_messages 0",
	}
	return common + strings.Join(append(lines, config...), "\n") + "\n"
}

func (m *mosquitto) addr() string  { return m.at }
func (m *mosquitto) forgets() bool { return false }

func (m *mosquitto) kill(t *testing.T) {
	t.Helper()
	if err := m.cmd.Process.Kill(); err != nil && !strings.Contains(err.Error(), "finished") {
		t.Error(err)
	}
}

// watcher is a writer that looks for a text.
type watcher struct {
	want  string
	found chan struct{}
	text  []byte
	seen  bool
}

func (w *watcher) Write(b []byte) (int, error) {
	if !w.seen {
		w.text = append(w.text, b...)
		if strings.Contains(string(w.text), w.want) {
			w.seen = true
			close(w.found)
		}
	}
	return len(b), nil
}

// subscribe collects what is published under a filter, in order.
func subscribe(t *testing.T, addr, filter string, set func(*paho.ClientOptions)) <-chan paho.Message {
	t.Helper()
	got := make(chan paho.Message, 100_000)
	o := paho.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("reader").SetProtocolVersion(4).
		SetAutoReconnect(false).SetConnectTimeout(10 * time.Second)
	if set != nil {
		set(o)
	}
	c := paho.NewClient(o)
	t.Cleanup(func() { c.Disconnect(100) })
	finish(t, c.Connect())
	finish(t, c.Subscribe(filter, 1, func(_ paho.Client, m paho.Message) { got <- m }))
	finish(t, c.Unsubscribe("nothing")) // a broker reads what it keeps after its SUBACK, and this answer comes later still
	return got
}

func finish(t *testing.T, tok paho.Token) {
	t.Helper()
	select {
	case <-tok.Done():
		if tok.Error() != nil {
			t.Fatal(tok.Error())
		}
	case <-time.After(patience):
		t.Fatal("the broker does not answer the reader")
	}
}

// await returns the next message on a topic whose payload contains a text.
func await(t *testing.T, got <-chan paho.Message, topic, part string) paho.Message {
	t.Helper()
	deadline := time.After(patience)
	var seen []string
	for {
		select {
		case m := <-got:
			if m.Topic() == topic && strings.Contains(string(m.Payload()), part) {
				return m
			}
			seen = append(seen, m.Topic()+" "+string(m.Payload()))
		case <-deadline:
			t.Fatalf("no %s with %q came; seen:\n%s", topic, part, strings.Join(slices.Compact(seen), "\n"))
		}
	}
}

// arrival is one message as it came over the wire.
type arrival struct {
	topic   string
	payload []byte
}

// read is a subscriber that loses nothing that reached this machine: it reads
// everything up to the end of the connection, and then closes its channel. The
// library's client may drop the last messages when its broker dies.
func read(t *testing.T, addr, filter string) <-chan arrival {
	t.Helper()
	conn, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.CleanSession, hello.ClientIdentifier = "MQTT", 4, true, "reader"
	ask := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	ask.MessageID, ask.Topics, ask.Qoss = 1, []string{filter}, []byte{0}
	for _, p := range []packets.ControlPacket{hello, ask} {
		if err := p.Write(conn); err != nil {
			t.Fatal(err)
		}
		if _, err := packets.ReadPacket(conn); err != nil { // its acknowledgement
			t.Fatal(err)
		}
	}
	got, done := make(chan arrival, 100_000), make(chan struct{})
	go func() {
		defer close(done)
		defer close(got)
		for {
			p, err := packets.ReadPacket(conn)
			if err != nil {
				return
			}
			if m, ok := p.(*packets.PublishPacket); ok {
				got <- arrival{m.TopicName, m.Payload}
			}
		}
	}()
	t.Cleanup(func() { _ = conn.Close(); <-done })
	return got
}
