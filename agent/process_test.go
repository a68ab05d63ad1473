package main

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	_ "modernc.org/sqlite" // to look into the logbook of a process that runs

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/bootclock"
	"bayward/agent/config/configtest"
	"bayward/agent/logbook"
	"bayward/agent/view"
)

// process is bayward as a process of its own.
type process struct {
	t      *testing.T
	cmd    *exec.Cmd
	stderr io.Closer
	began  time.Time
	page   string // address, once it is told

	mu    sync.Mutex // guards what follows
	lines []string
	safe  time.Duration // from the start until its log told that the relays are open
	done  chan struct{} // its log has ended
}

// start runs a command until it tells the page's address.
func start(t *testing.T, env []string, args ...string) *process {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p := &process{t: t, cmd: exec.Command(self, args...), done: make(chan struct{})}
	p.cmd.Env = append(append(os.Environ(), asProgram+"=1"), env...)
	stderr, err := p.cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	p.stderr, p.began = stderr, time.Now()
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = p.cmd.Process.Kill() // it may have ended
		_ = p.cmd.Wait()
	})
	told := make(chan string, 1)
	go p.read(stderr, told)
	select {
	case p.page = <-told:
	case <-p.done:
		t.Fatalf("it ended:\n%s", p.log())
	case <-time.After(assemblytest.Bound):
		t.Fatalf("it does not tell its address:\n%s", p.log())
	}
	return p
}

func (p *process) read(r io.Reader, told chan<- string) {
	defer close(p.done)
	address := regexp.MustCompile(`page=(http://127\.0\.0\.1:[0-9]+)`)
	for s := bufio.NewScanner(r); s.Scan(); {
		p.mu.Lock()
		p.lines = append(p.lines, s.Text())
		if strings.Contains(s.Text(), "all relays are open") && p.safe == 0 {
			p.safe = time.Since(p.began)
		}
		p.mu.Unlock()
		if found := address.FindStringSubmatch(s.Text()); found != nil {
			told <- found[1]
		}
	}
}

func (p *process) log() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Join(p.lines, "\n")
}

// end sends a signal and gives the exit code, -1 when a signal ended it.
func (p *process) end(s os.Signal) int {
	p.t.Helper()
	if err := p.cmd.Process.Signal(s); err != nil {
		p.t.Fatal(err)
	}
	select {
	case <-p.done:
	case <-time.After(assemblytest.Bound):
		p.t.Fatalf("it does not end:\n%s", p.log())
	}
	_ = p.cmd.Wait() // tells the exit code as well
	return p.cmd.ProcessState.ExitCode()
}

func (p *process) metric(line string) bool {
	p.t.Helper()
	return slices.Contains(strings.Split(assemblytest.Get(p.t, p.page+"/metrics"), "\n"), line)
}

func (p *process) view() view.View {
	p.t.Helper()
	var v view.View
	if err := json.Unmarshal([]byte(assemblytest.Get(p.t, p.page+"/api/v1/bays/bay-1")), &v); err != nil {
		p.t.Fatal(err)
	}
	return v
}

// stepped waits for the first tick.
func (p *process) stepped() view.View {
	p.t.Helper()
	assemblytest.Until(p.t, "the first tick", func() bool { return strings.Contains(assemblytest.Get(p.t, p.page+"/api/v1/bays"), `"bay":"bay-1"`) })
	return p.view()
}

// order gives an order, which must be taken: answered 200, or with one of the others.
func (p *process) order(kind, body string, others ...int) {
	p.t.Helper()
	answer, err := assemblytest.Client().Post(p.page+"/api/v1/bays/bay-1/"+kind, "application/json", strings.NewReader(body))
	if err != nil {
		p.t.Fatal(err)
	}
	defer answer.Body.Close()
	if text, _ := io.ReadAll(answer.Body); answer.StatusCode != http.StatusOK && !slices.Contains(others, answer.StatusCode) {
		p.t.Fatalf("order %s: %s %s", body, answer.Status, text)
	}
}

const relayClosed = `bayward_relay_closed{bay="bay-1"} 1`

// TestRunEndsOnSignals: a charge is under way; the signal opens the relay and
// the exit code is 0.
func TestRunEndsOnSignals(t *testing.T) {
	// Where the tests run under nohup, the programs would inherit it.
	hangups := make(chan os.Signal, 1)
	signal.Notify(hangups, syscall.SIGHUP)
	t.Cleanup(func() { signal.Stop(hangups) })
	for _, s := range []syscall.Signal{syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP, syscall.SIGQUIT} {
		t.Run(s.String(), func(t *testing.T) {
			t.Parallel()
			p := start(t, nil, "run", "--config", configtest.File(t, "run.yaml", configtest.OneBay(t)))
			assemblytest.Until(t, "a closed relay", func() bool { return p.metric(relayClosed) })
			if code := p.end(s); code != exitDone {
				t.Errorf("exit code %d", code)
			}
			if !strings.Contains(p.log(), "stopping: all relays are open") || strings.Contains(p.log(), "level=ERROR") {
				t.Errorf("its log:\n%s", p.log())
			}
		})
	}
}

// TestRunOutlivesItsReader: a log that nobody reads any more must not end the
// program, which the kernel's answer to a broken pipe would.
func TestRunOutlivesItsReader(t *testing.T) {
	t.Parallel()
	p := start(t, nil, "run", "--config", configtest.File(t, "run.yaml", configtest.OneBay(t)))
	if err := p.stderr.Close(); err != nil {
		t.Fatal(err)
	}
	p.stepped()
	p.order("hold", `{"action":"hold","by":"Ann"}`)
	if code := p.end(syscall.SIGTERM); code != exitDone {
		t.Errorf("exit code %d: it has died of a line that nobody read", code)
	}
}

// TestRelaySafeAtStart measures how long a relay that a killed program has left
// closed stays so after the next start. It has no assemblytest.Bound: the machine may have
// much else to do.
func TestRelaySafeAtStart(t *testing.T) {
	config := configtest.File(t, "run.yaml", configtest.OneBay(t))
	var took []time.Duration
	for range 5 {
		p := start(t, nil, "run", "--config", config)
		if p.end(syscall.SIGKILL); p.safe == 0 {
			t.Fatalf("it does not say that the relays are open:\n%s", p.log())
		}
		took = append(took, p.safe)
	}
	slices.Sort(took)
	t.Logf("figure: start of the process to open relays %d ms (median of %d)", took[len(took)/2].Milliseconds(), len(took))
}

// stored reads the memory in a logbook that another process writes.
func stored(t *testing.T, path string) (text string, mono time.Duration) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?mode=ro&_pragma=busy_timeout(5000)")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	err = db.QueryRowContext(t.Context(), "SELECT state, mono_ns FROM memory").Scan(&text, &mono)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		t.Fatal(err)
	}
	return text, mono
}

// rested is how long ago the charge ended by the newest memory, which must be
// younger than the given time since boot.
func rested(t *testing.T, path string, after time.Duration) time.Duration {
	t.Helper()
	var text string
	assemblytest.Until(t, "a newer memory", func() bool {
		var mono time.Duration
		text, mono = stored(t, path)
		return mono > after
	})
	var m bay.Memory
	if err := json.Unmarshal([]byte(text), &m); err != nil || !m.Charge.Ended {
		t.Fatalf("%v, memory %s", err, text)
	}
	return time.Duration(m.Charge.EndedAgoS * float64(time.Second))
}

// TestKill9: what was on record when the process was killed stands after it:
// hold, latch, open visit, and that the pack is full and rests. How long the
// process was gone is proven by the boot's clock.
func TestKill9(t *testing.T) {
	t.Parallel()
	path, boot := t.TempDir()+"/logbook.db", bootclock.New()
	assemblytest.Resting(t, path, boot.ID)
	killed := boot.Now()
	config := configtest.File(t, "run.yaml", configtest.OneBay(t, "LOGBOOK", path))
	first := start(t, nil, "run", "--config", config)
	restored(t, "after a start", first.stepped())
	before := rested(t, path, killed)
	first.order("visit", `{"action":"fill","by":"Ann","cell":3,"ml":50,"sure":true,"id":"fill-1"}`)
	assemblytest.Until(t, "the fill on record", func() bool {
		text, _ := stored(t, path)
		return strings.Contains(text, "fill-1")
	})
	if code := first.end(syscall.SIGKILL); code != -1 {
		t.Errorf("exit code %d after kill -9", code)
	}
	killed = boot.Now()

	second := start(t, nil, "run", "--config", config)
	after := second.stepped()
	restored(t, "after kill -9", after)
	if after.Visit.GivenML[2] != 50 {
		t.Errorf("the water of the visit is forgotten: %v", after.Visit.GivenML)
	}
	if now := rested(t, path, killed); before < 30*time.Minute || now < before || now > before+assemblytest.Bound {
		t.Errorf("rested for %s before and %s after, want at least 30 min and some seconds more", before, now)
	}
	if second.metric(relayClosed) {
		t.Error("the relay is closed")
	}
	if code := second.end(syscall.SIGTERM); code != exitDone {
		t.Errorf("exit code %d", code)
	}
}

// restored looks for what resting has left.
func restored(t *testing.T, when string, v view.View) {
	t.Helper()
	var codes []string
	for _, f := range v.Findings {
		if f.Code != "contactor-stuck" || f.Latched {
			codes = append(codes, f.Code)
		}
	}
	for _, want := range []string{"held", "visit-open", "contactor-stuck"} {
		if !slices.Contains(codes, want) {
			t.Errorf("%s: %s does not stand: %v", when, want, codes)
		}
	}
	if v.Permit != "blocked" || v.Visit == nil || v.Visit.By != "Ann" {
		t.Fatalf("%s: permit %s, visit %+v", when, v.Permit, v.Visit)
	}
	if !v.Full {
		t.Errorf("%s: not full any more", when)
	}
}

// TestUnknownBoot: a memory of another boot proves no time. What blocks
// stands; that the pack is full does not, and the record says why.
func TestUnknownBoot(t *testing.T) {
	t.Parallel()
	path := t.TempDir() + "/logbook.db"
	assemblytest.Resting(t, path, "another-boot")
	p := start(t, nil, "run", "--config", configtest.File(t, "run.yaml", configtest.OneBay(t, "LOGBOOK", path)))
	v := p.stepped()
	if v.Full {
		t.Error("it counts as full")
	}
	codes := v.Findings
	for _, want := range []string{"held", "visit-open", "contactor-stuck"} {
		if !slices.ContainsFunc(codes, func(f view.Finding) bool { return f.Code == want }) {
			t.Errorf("%s does not stand", want)
		}
	}
	if code := p.end(syscall.SIGTERM); code != exitDone {
		t.Errorf("exit code %d", code)
	}
	if told := events(t, path, "memory-doubted"); len(told) != 1 || told[0].Doubt != bay.OffTooLong.String() {
		t.Errorf("told: %+v", told)
	}
}

// events reads those of one kind from a logbook that nobody writes.
func events(t *testing.T, path, kind string) (out []logbook.Record) {
	t.Helper()
	book, err := logbook.Open(context.Background(), path, assemblytest.Quiet())
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	all, err := book.Unsent(context.Background(), 10000)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range all {
		if r.Kind == kind {
			out = append(out, r)
		}
	}
	return out
}

// TestSystemd: a service manager hears READY after the first good tick, then
// WATCHDOG, what the bays do, and STOPPING at the end.
func TestSystemd(t *testing.T) {
	t.Parallel()
	socket := t.TempDir() + "/s"
	l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: socket, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	heard := make(chan string, 1000)
	go func() {
		defer close(heard)
		buf := make([]byte, 4096)
		for {
			n, err := l.Read(buf)
			if err != nil {
				return
			}
			heard <- string(buf[:n])
		}
	}()
	p := start(t, []string{"NOTIFY_SOCKET=" + socket, "WATCHDOG_USEC=2000000"}, "run", "--config", configtest.File(t, "run.yaml", configtest.OneBay(t)))
	hear := func(want string) string {
		t.Helper()
		for {
			select {
			case got := <-heard:
				if strings.HasPrefix(got, want) {
					return got
				}
				if want == "READY=1" && got == "WATCHDOG=1" {
					t.Error("alive before it is ready")
				}
			case <-time.After(assemblytest.Bound):
				t.Fatalf("%s is not told; log:\n%s", want, p.log())
			}
		}
	}
	hear("READY=1")
	for range 3 {
		hear("WATCHDOG=1")
	}
	if got := hear("STATUS=bay-1 "); !strings.Contains(got, "charge ") {
		t.Errorf("status %q", got)
	}
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	hear("STOPPING=1")
	if code := p.end(syscall.SIGTERM); code != exitDone {
		t.Errorf("exit code %d", code)
	}
}
