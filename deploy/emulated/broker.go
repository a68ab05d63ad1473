package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
)

// message is one that came over the broker.
type message struct {
	topic   string
	payload string
}

// picture is what a bay's state topic says, as far as the scenarios look.
type picture struct {
	Stage       string                  `json:"stage"`
	Permit      string                  `json:"permit"`
	Findings    []struct{ Code string } `json:"findings"`
	Time        time.Time               `json:"time"`
	TimeTrusted bool                    `json:"time_trusted"`
	Full        bool                    `json:"full"`
	Visit       *visit                  `json:"visit"`
	LevelMM     *float64                `json:"level_mm"`
	PackV       *float64                `json:"pack_v"`
	CurrentA    *float64                `json:"current_a"`
	PackC       *float64                `json:"pack_c"`
	AmbientC    *float64                `json:"ambient_c"`
	HydrogenPct *float64                `json:"hydrogen_pct"`
	Faults      []struct{ Sensor, Fault string }
}

type visit struct {
	By      string    `json:"by"`
	GivenML []float64 `json:"given_ml"`
}

func (p *picture) has(code string) bool {
	return p != nil && slices.ContainsFunc(p.Findings, func(f struct{ Code string }) bool { return f.Code == code })
}

// event is what an event topic says, as far as the scenarios look.
type event struct {
	Seq         uint64 `json:"seq"`
	Kind        string `json:"kind"`
	Stage       string `json:"stage"`
	Code        string `json:"code"`
	TimeTrusted bool   `json:"time_trusted"`
	Time        time.Time
}

// site is a broker of another make than the agent's library, with a listener of
// its own, as a yard has it.
type site struct {
	port   int
	ends   []func()      // each ends a program and waits until it has gone
	mu     sync.Mutex    // guards what follows
	past   []message     // of the lives of the agent before
	all    []message     // of this life
	lost   error         // a program has ended that nobody here has told to
	wakeup chan struct{} // closed at the next message, and with lost
}

// startSite runs mosquitto on a free port of the loopback.
func startSite(ctx context.Context, dir string) (*site, error) {
	s := &site{wakeup: make(chan struct{})}
	var err error
	if s.port, err = freePort(ctx); err != nil {
		return nil, err
	}
	conf := filepath.Join(dir, "mosquitto.conf")
	text := fmt.Sprintf("listener %d 127.0.0.1\nallow_anonymous true\npersistence false\nlog_dest none\n", s.port)
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		return nil, err
	}
	if err := s.start("mosquitto", nil, "-c", conf); err != nil {
		return nil, err
	}
	err = s.awaitBroker(ctx)
	if err == nil {
		err = s.listen()
	}
	if err != nil {
		s.close()
		return nil, err
	}
	return s, nil
}

// freePort is a port that was free a moment ago: the broker cannot tell which
// one it would choose itself.
func freePort(ctx context.Context) (int, error) {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer func() { _ = l.Close() }()
	addr, ok := l.Addr().(*net.TCPAddr)
	if !ok {
		return 0, fmt.Errorf("no TCP address: %v", l.Addr())
	}
	return addr.Port, nil
}

// find looks where Debian keeps daemons out of an ordinary user's path.
func find(program string) string {
	if path, err := exec.LookPath(program); err == nil {
		return path
	}
	return "/usr/sbin/" + program
}

// start starts a program and notes when it ends before its time. What it prints goes
// to takes, unless that is nil.
func (s *site) start(program string, takes func(io.Reader), args ...string) error {
	ctx, end := context.WithCancel(context.Background())
	cmd := exec.CommandContext(ctx, find(program), args...)
	var out io.ReadCloser
	var err error
	if takes != nil {
		out, err = cmd.StdoutPipe()
	}
	if err = errors.Join(err, cmd.Start()); err != nil {
		end()
		return fmt.Errorf("start %s: %w", program, err)
	}
	gone := make(chan struct{})
	go func() {
		defer close(gone)
		if takes != nil {
			takes(out)
		}
		_ = cmd.Wait() // how it ended is in its state
		if ctx.Err() == nil {
			s.lose(fmt.Errorf("%s was ended by somebody else: %s", program, cmd.ProcessState))
		}
	}()
	s.ends = append(s.ends, func() { end(); <-gone })
	return nil
}

func (s *site) lose(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.lost = errors.Join(s.lost, err)
	close(s.wakeup)
	s.wakeup = make(chan struct{})
}

func (s *site) awaitBroker(ctx context.Context) error {
	var d net.Dialer
	for range 200 {
		c, err := d.DialContext(ctx, "tcp", fmt.Sprintf("127.0.0.1:%d", s.port))
		if err == nil {
			return c.Close()
		}
		time.Sleep(50 * time.Millisecond)
	}
	return errors.New("the broker does not answer")
}

// listen follows every topic of the site.
func (s *site) listen() error {
	takes := func(out io.Reader) {
		for r := bufio.NewReader(out); ; {
			line, err := r.ReadString('\n')
			if err != nil {
				return
			}
			topic, payload, _ := strings.Cut(strings.TrimSpace(line), " ")
			s.take(message{topic, payload})
		}
	}
	return s.start("mosquitto_sub", takes, "-h", "127.0.0.1", "-p", fmt.Sprint(s.port), "-q", "1", "-t", "bayward/#", "-F", "%t %p")
}

func (s *site) take(m message) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all = append(s.all, m)
	close(s.wakeup)
	s.wakeup = make(chan struct{})
}

// turn begins another life of the agent.
func (s *site) turn() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.past, s.all = append(s.past, s.all...), nil
}

// forget drops what came before.
func (s *site) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.past, s.all = nil, nil
}

// numbered are all events of the bay since forget, over all lives.
func (s *site) numbered() []event {
	s.mu.Lock()
	defer s.mu.Unlock()
	return events(append(s.past[:len(s.past):len(s.past)], s.all...))
}

// await returns when the messages of this life fulfil a condition.
func (s *site) await(ctx context.Context, fulfilled func([]message) bool) error {
	for {
		s.mu.Lock()
		now, wakeup, lost := s.all[:len(s.all):len(s.all)], s.wakeup, s.lost
		s.mu.Unlock()
		if lost != nil {
			return lost
		}
		if fulfilled(now) {
			return nil
		}
		select {
		case <-wakeup:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// last is the newest picture of the bay among messages, nil before the first.
func last(all []message) *picture {
	for _, m := range slices.Backward(all) {
		if strings.HasSuffix(m.topic, "/bay-1/state") {
			var p picture
			if json.Unmarshal([]byte(m.payload), &p) == nil {
				return &p
			}
		}
	}
	return nil
}

// pictures are the bay's, as they came.
func pictures(all []message) []picture {
	var out []picture
	for _, m := range all {
		if strings.HasSuffix(m.topic, "/bay-1/state") {
			var p picture
			if json.Unmarshal([]byte(m.payload), &p) == nil {
				out = append(out, p)
			}
		}
	}
	return out
}

// events are the bay's, as they came.
func events(all []message) []event {
	var out []event
	for _, m := range all {
		if strings.HasSuffix(m.topic, "/bay-1/event") {
			var e event
			if json.Unmarshal([]byte(m.payload), &e) == nil {
				out = append(out, e)
			}
		}
	}
	return out
}

func (s *site) close() {
	for _, end := range slices.Backward(s.ends) {
		end()
	}
}
