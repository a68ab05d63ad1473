package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
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
	CoverMM     *float64                `json:"cover_mm"`
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
	cmds   []*exec.Cmd
	mu     sync.Mutex    // guards what follows
	past   []message     // of the lives of the agent before
	all    []message     // of this life
	wakeup chan struct{} // closed at the next message
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
	if err := s.start("mosquitto", "-c", conf); err != nil {
		return nil, err
	}
	if err := s.awaitBroker(ctx); err != nil {
		return nil, errors.Join(err, s.close())
	}
	if err := s.listen(); err != nil {
		return nil, errors.Join(err, s.close())
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

func (s *site) start(program string, args ...string) error {
	cmd := exec.CommandContext(context.Background(), find(program), args...)
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("start the site's broker: %w", err)
	}
	s.cmds = append(s.cmds, cmd)
	return nil
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
	cmd := exec.CommandContext(context.Background(), find("mosquitto_sub"),
		"-h", "127.0.0.1", "-p", fmt.Sprint(s.port), "-q", "1", "-t", "bayward/#", "-F", "%t %p")
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("listen at the broker: %w", err)
	}
	s.cmds = append(s.cmds, cmd)
	go func() {
		for r := bufio.NewReader(out); ; {
			line, err := r.ReadString('\n')
			if err != nil {
				return
			}
			topic, payload, _ := strings.Cut(strings.TrimSpace(line), " ")
			s.take(message{topic, payload})
		}
	}()
	return nil
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
		now, wakeup := s.all[:len(s.all):len(s.all)], s.wakeup
		s.mu.Unlock()
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

func (s *site) close() error {
	var errs []error
	for _, cmd := range slices.Backward(s.cmds) {
		errs = append(errs, cmd.Process.Kill())
		_ = cmd.Wait() // it was killed
	}
	return errors.Join(errs...)
}
