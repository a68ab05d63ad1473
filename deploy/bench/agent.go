package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// figures are the measurements of one agent.
type figures struct {
	u                   usage
	scraped             usage // after the scrapes
	cpuShare            float64
	scrape              time.Duration
	series, scrapeBytes int
	heard               []message
	watched             time.Duration // in which it was heard
}

// message is one message that the agent published.
type message struct {
	topic    string
	payload  []byte
	retained bool
}

const pack = `  - {name: lift-%d, cells: 12, capacity_ah: 225, rate_hours: 20, full_gravity: 1.277, charge_level_mm: 3,
     fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130, electrolyte_ml: 1350}
`

// writeConfig writes the configuration of an agent with simulated bays and
// everything on.
func writeConfig(dir string, bays int, broker, listen string) (string, error) {
	var b strings.Builder
	fmt.Fprintf(&b, "site: bench\nagent: agent-1\nunits: si\nsensors: simulated\nhttp: {listen: %q}\nlogbook: {path: %q}\nmqtt: {broker: \"tcp://%s\"}\nbays:\n",
		listen, filepath.Join(dir, fmt.Sprintf("logbook-%d.db", bays)), broker)
	for i := range bays {
		fmt.Fprintf(&b, "  - {name: bay-%d, pack: lift-%d}\n", i+1, i+1)
	}
	b.WriteString("packs:\n")
	for i := range bays {
		fmt.Fprintf(&b, pack, i+1)
	}
	file := filepath.Join(dir, "bayward.yaml")
	return file, os.WriteFile(file, []byte(b.String()), 0o600)
}

// running is an agent with its own broker and listener.
type running struct {
	pid             int
	listen          string
	broker          string
	ear             *ear
	safe, published time.Duration // from the start of the process
	stop            func()
}

// program is a program to be measured.
type program struct {
	name    string // in the table
	began   string // what it logs once it has started
	command func(ctx context.Context, broker, listen string) (*exec.Cmd, error)
}

// agent is bayward with simulated bays and everything on.
func agent(dir, binary string, bays int) program {
	return program{fmt.Sprintf("%d bays", bays), "all relays are open", func(ctx context.Context, broker, listen string) (*exec.Cmd, error) {
		file, err := writeConfig(dir, bays, broker, listen)
		if err != nil {
			return nil, fmt.Errorf("configuration: %w", err)
		}
		return exec.CommandContext(ctx, binary, "run", "--config", file), nil //nolint:gosec // our own program
	}}
}

// bare is the program in the folder bare.
func bare(binary string) program {
	return program{"bare", "main is reached", func(ctx context.Context, broker, listen string) (*exec.Cmd, error) {
		return exec.CommandContext(ctx, binary, broker, listen), nil //nolint:gosec // our own program
	}}
}

// start starts a program and returns at its first message.
func (p program) start(ctx context.Context, dir string) (_ *running, err error) {
	var ends []func()
	r := &running{stop: func() {
		for _, end := range slices.Backward(ends) {
			end()
		}
	}}
	defer func() {
		if err != nil {
			r.stop()
		}
	}()
	broker, stop, err := startBroker(ctx, dir)
	if err != nil {
		return nil, err
	}
	ends = append(ends, stop)
	r.broker = broker.addr
	if r.listen, err = freeAddress(); err != nil {
		return nil, err
	}
	cmd, err := p.command(ctx, broker.addr, r.listen)
	if err != nil {
		return nil, err
	}
	r.ear = &ear{first: make(chan struct{})}
	client, err := r.ear.listen(broker.addr)
	if err != nil {
		return nil, err
	}
	ends = append(ends, func() { client.Disconnect(100) })
	log, err := cmd.StderrPipe()
	if err != nil {
		return nil, fmt.Errorf("its log: %w", err)
	}
	began := time.Now()
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("start it: %w", err)
	}
	r.pid = cmd.Process.Pid
	ends = append(ends, func() { _ = cmd.Process.Signal(os.Interrupt); _ = cmd.Wait() })
	if r.safe, err = p.hasBegun(log, began); err != nil {
		return nil, err
	}
	select {
	case <-r.ear.first:
		r.published = time.Since(began)
	case <-time.After(20 * time.Second):
		return nil, fmt.Errorf("no message arrived at %s", broker.addr)
	}
	return r, nil
}

// footprint starts one program and measures it.
func (p program) footprint(ctx context.Context, dir string, watch time.Duration) (*figures, error) {
	r, err := p.start(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer r.stop()
	f := &figures{}
	return f, f.watch(ctx, r.pid, r.listen, r.ear, watch)
}

// begin starts a program repeatedly, each time on the files of the last run, and
// prints how long the starts took.
func (p program) begin(ctx context.Context, dir string, w io.Writer) error {
	const starts = 20
	var safe, published []time.Duration
	for range starts {
		r, err := p.start(ctx, dir)
		if err != nil {
			return err
		}
		safe, published = append(safe, r.safe), append(published, r.published)
		r.stop()
	}
	slices.Sort(safe)
	slices.Sort(published)
	_, _ = fmt.Fprintf(w, "%s\tstart to %q: median; worst of %d\t%.1f ms; %.1f ms\n", p.name, p.began, starts, ms(safe[starts/2]), ms(safe[starts-1]))
	_, _ = fmt.Fprintf(w, "%s\tstart to first message: median; worst\t%.1f ms; %.1f ms\n", p.name, ms(published[starts/2]), ms(published[starts-1]))
	return nil
}

// hasBegun waits for the log line of a finished start, then drains the log.
func (p program) hasBegun(log io.Reader, began time.Time) (time.Duration, error) {
	var output strings.Builder
	for lines := bufio.NewScanner(log); lines.Scan(); {
		output.WriteString(lines.Text() + "\n")
		if strings.Contains(lines.Text(), p.began) {
			took := time.Since(began)
			go func() { _, _ = io.Copy(io.Discard, log) }()
			return took, nil
		}
	}
	return 0, fmt.Errorf("it exited: %s", output.String())
}

// settled is how long an agent takes past its start: the memory it returns, the
// checking of the bays and the events of the first charges. What it publishes in
// that time is twice what it publishes later.
const settled = 75 * time.Second

func (f *figures) watch(ctx context.Context, pid int, listen string, e *ear, watch time.Duration) error {
	time.Sleep(settled)
	var err error
	if f.u, err = usageOf(pid); err != nil {
		return err
	}
	e.forget()
	began := time.Now()
	time.Sleep(watch)
	after, err := cpuOf(pid)
	if err != nil {
		return err
	}
	f.cpuShare = 100 * float64(after-f.u.cpu) / float64(time.Since(began))
	f.heard, f.watched = e.all(), time.Since(began)
	const scrapes = 50
	before, err := cpuOf(pid)
	if err != nil {
		return err
	}
	for range scrapes {
		if f.series, f.scrapeBytes, err = scrape(ctx, "http://"+listen+"/metrics"); err != nil {
			return err
		}
	}
	if after, err = cpuOf(pid); err != nil {
		return err
	}
	f.scrape = (after - before) / scrapes
	f.scraped, err = usageOf(pid)
	return err
}

// scrape fetches the metrics once and returns how many series they are, and how
// many bytes.
func scrape(ctx context.Context, url string) (series, size int, err error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, http.NoBody)
	if err != nil {
		return 0, 0, fmt.Errorf("scrape: %w", err)
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return 0, 0, fmt.Errorf("scrape: %w", err)
	}
	defer func() { _ = res.Body.Close() }()
	text, err := io.ReadAll(res.Body)
	for line := range bytes.Lines(text) {
		if line[0] != '#' {
			series++
		}
	}
	return series, len(text), err
}

func (f *figures) print(w io.Writer, name string) {
	row := func(what, format string, a ...any) {
		_, _ = fmt.Fprintf(w, "%s\t%s\t%s\n", name, what, fmt.Sprintf(format, a...))
	}
	row("memory (PSS): before a scrape; after; peak", "%.1f MiB; %.1f MiB; %.1f MiB", mib(f.u.pssKB), mib(f.scraped.pssKB), mib(f.scraped.peakKB))
	row("CPU at one tick a second", "%.2f %% of a core", f.cpuShare)
	row("threads; open files", "%d; %d", f.u.threads, f.u.files)
	row("scrape", "%.2f ms CPU; %d series; %.1f kB", ms(f.scrape), f.series, float64(f.scrapeBytes)/1e3)
	if n := float64(len(f.heard)); n > 0 {
		row("to the broker, when idle", "%.2f messages a second of %.0f bytes; %.1f MB a day", n/f.watched.Seconds(), f.bytes()/n,
			f.bytes()/1e6*float64(24*time.Hour)/float64(f.watched))
	}
}

// bytes is the size of everything that was heard, with the headers of MQTT.
func (f *figures) bytes() float64 {
	sum := 0
	for _, m := range f.heard {
		sum += len(m.topic) + len(m.payload) + 4 // its fixed header, length and packet number
	}
	return float64(sum)
}

func mib(kB int) float64 { return float64(kB) / 1024 }

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// ear receives everything that is published.
type ear struct {
	first chan struct{}
	once  sync.Once
	mu    sync.Mutex // guards the fields below
	heard []message
}

func (e *ear) listen(addr string) (mqtt.Client, error) {
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("bench-ear"))
	if err := wait(c.Connect()); err != nil {
		return nil, err
	}
	return c, wait(c.Subscribe("#", 1, func(_ mqtt.Client, m mqtt.Message) {
		e.mu.Lock()
		defer e.mu.Unlock()
		e.heard = append(e.heard, message{m.Topic(), m.Payload(), m.Retained()})
		e.once.Do(func() { close(e.first) })
	}))
}

func (e *ear) forget() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.heard = nil
}

func (e *ear) all() []message {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.heard
}

func wait(t mqtt.Token) error {
	if !t.WaitTimeout(30 * time.Second) {
		return fmt.Errorf("the broker does not answer")
	}
	return t.Error()
}

func freeAddress() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0") //nolint:noctx // local and at once
	if err != nil {
		return "", fmt.Errorf("a free port: %w", err)
	}
	defer func() { _ = l.Close() }()
	return l.Addr().String(), nil
}
