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

// message is a message from the broker.
type message struct {
	topic   string
	payload string
}

// picture is the part of a bay's state topic that the scenarios use.
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

// event is the part of an event topic that the scenarios use.
type event struct {
	Seq         uint64 `json:"seq"`
	Kind        string `json:"kind"`
	Stage       string `json:"stage"`
	Code        string `json:"code"`
	TimeTrusted bool   `json:"time_trusted"`
	Time        time.Time
}

// site is a broker, independent of the agent's library, with its own listener, as
// in a yard.
type site struct {
	port   int
	ends   []func()      // each ends a program and waits for its exit
	mu     sync.Mutex    // guards the fields below
	past   []message     // of earlier runs of the agent
	all    []message     // of this run
	lost   error         // a program exited unexpectedly
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

// freePort returns a port that was free a moment ago: the broker does not report
// a port that it chooses itself.
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

// find also looks in /usr/sbin, which is not in an ordinary user's path on Debian.
func find(program string) string {
	if path, err := exec.LookPath(program); err == nil {
		return path
	}
	return "/usr/sbin/" + program
}

// start starts a program and notes when it exits early. Its output goes to takes,
// unless that is nil.
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
			s.lose(fmt.Errorf("%s exited unexpectedly: %s", program, cmd.ProcessState))
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

// turn begins another run of the agent.
func (s *site) turn() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.past, s.all = append(s.past, s.all...), nil
}

// forget drops all earlier messages.
func (s *site) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.past, s.all = nil, nil
}

// numbered returns all events of the bay since forget, over all runs.
func (s *site) numbered() []event {
	s.mu.Lock()
	defer s.mu.Unlock()
	return events(append(s.past[:len(s.past):len(s.past)], s.all...))
}

// await returns when the messages of this run meet a condition.
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

// last returns the newest picture of the bay among messages, nil before the first.
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

// offline reports whether a message is that the agent is gone.
func offline(m message) bool {
	return strings.HasSuffix(m.topic, "/status") && strings.Contains(m.payload, `"offline"`)
}

// count returns how many messages of this run have come.
func (s *site) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.all)
}

// pictures returns the bay's pictures in order of arrival.
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

// events returns the bay's events in order of arrival.
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
