package assembly_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"
	"periph.io/x/conn/v3/gpio"

	"bayward/agent/assembly"
	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/config/configtest"
	"bayward/agent/interlock"
	"bayward/agent/logbook"
	"bayward/agent/logwriter"
	"bayward/agent/loop"
	"bayward/agent/order"
	"bayward/agent/usage"
	"bayward/agent/words"
	"bayward/sensors/sim"
)

// TestStuckEdges: the broker accepts connections and never answers, another
// program locks the logbook's file, a reader of the page has stopped reading, and
// the terminal and log are not read. The charge continues, tick by tick, and the
// relay opens as fast as ever when the level probe breaks.
func TestStuckEdges(t *testing.T) {
	t.Parallel()
	dumb := deaf(t)
	path := t.TempDir() + "/logbook.db"
	cfg := configtest.Parse(t, configtest.OneBay(t, "LOGBOOK", path)+"mqtt:\n  broker: tcp://"+dumb+"\n")
	terminal, nobody := io.Pipe()
	log := logwriter.New(nobody)
	y := assemblytest.New(t, cfg, nil, func(_ *assemblytest.Site, p *assembly.Parts) {
		p.Log = slog.New(slog.NewTextHandler(log, nil))
		p.Outputs = append(p.Outputs, printer{nobody})
	})
	defer func() { _ = terminal.Close() }()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	g, ctx := errgroup.WithContext(ctx)
	if err := y.Serve(ctx, g); err != nil {
		t.Fatal(err)
	}
	unlock := lockFile(t, path, "IMMEDIATE")
	stopReading(t, y.Address())
	y.Until("a closed relay", 5*time.Minute, func(p *bay.Picture) bool { return p.Permit.Granted })
	for range 3600 {
		if p := y.Tick(); !p.Permit.Granted || !relayClosed(y) {
			t.Fatalf("blocked: %s", words.EnglishSI().Says(p))
		}
	}
	assemblytest.Until(t, "a record that fails", func() bool { return y.Tick().Findings[interlock.RecordFailing].Raised })
	began := y.Bench.Now()
	y.Bays["bay-1"].SetFault(sim.ProbeOpen, true)
	y.Until("an open relay", time.Minute, func(p *bay.Picture) bool { return !p.Permit.Granted })
	if took := y.Bench.Now() - began; took > interlock.Table[interlock.LevelUnknown].Raise+time.Second || level(t, y) != gpio.Low {
		t.Errorf("opened after %s, the line is %s", took, level(t, y))
	}
	if y.Loop.GuardTrips() != 0 {
		t.Error("a relay opened by itself")
	}
	onlyCareful(t, y)
	unlock()
	againOnRecord(t, y)
	cancel()
	if err := g.Wait(); err != nil {
		t.Error(err)
	}
	_ = terminal.CloseWithError(errors.New("the terminal is gone")) // releases the printer
	if err := y.Close(); err != nil {
		t.Error(err)
	}
	log.Close()
}

// onlyCareful checks the answers of an agent whose record fails: an order that blocks
// the charge is in force and not called done, one that would end that is refused.
func onlyCareful(t *testing.T, y *assemblytest.Site) {
	t.Helper()
	e, err := y.Ask(order.Order{ID: "h", By: "Ann", Kind: order.Hold})
	if e.Kind != bay.OrderTaken || !errors.Is(err, order.ErrNotOnRecord) {
		t.Errorf("a hold: %s, %v", e.Kind, err)
	}
	if _, err := y.Ask(order.Order{ID: "h", By: "Ann", Kind: order.Hold}); !errors.Is(err, order.ErrNotOnRecord) {
		t.Errorf("the hold sent again: %v", err)
	}
	if p := y.Tick(); p.Permit.Granted || len(p.Holds) != 1 {
		t.Error("the hold is not in force")
	}
	e, err = y.Ask(order.Order{ID: "u", By: "Ann", Kind: order.Unhold})
	if e.Kind != bay.OrderRefused || e.Why.Code != order.NoRecord || err != nil {
		t.Errorf("its end: %s, %s, %v", e.Kind, e.Why.Code, err)
	}
}

// againOnRecord: once the record can be written, the order that was refused is taken,
// and all of them are on record in order when it is answered.
func againOnRecord(t *testing.T, y *assemblytest.Site) {
	t.Helper()
	assemblytest.Until(t, "a record that works", func() bool { y.Tick(); return !y.Recorder.Failing() })
	y.Tick() // which knows that
	e, err := y.Ask(order.Order{ID: "v", By: "Ann", Kind: order.Unhold})
	if e.Kind != bay.OrderTaken || err != nil {
		t.Errorf("%s, %s, %v", e.Kind, e.Why.Code, err)
	}
	var orders []string
	for r, err := range y.Book.EachEvent(t.Context(), logbook.Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		if r.Order != "" {
			orders = append(orders, r.Kind+" "+r.Order)
		}
	}
	if got, want := strings.Join(orders, ", "), "order-taken h, order-refused h, order-refused u, order-taken v"; got != want {
		t.Errorf("on record: %s, want %s", got, want)
	}
}

// printer writes for a user at a terminal.
type printer struct{ w io.Writer }

// Name implements loop.Output.
func (printer) Name() string { return "terminal" }

// Take implements loop.Output.
func (p printer) Take(_ context.Context, n *loop.News) {
	for i := range n.Events {
		_, _ = fmt.Fprintln(p.w, words.EnglishSI().Event(&n.Events[i]))
	}
}

// level returns the level of the relay's line.
func level(t *testing.T, y *assemblytest.Site) gpio.Level {
	t.Helper()
	pin, err := y.Bench.Pin(y.Config.Bays[0].Wiring.Relay.Pin)
	if err != nil {
		t.Fatal(err)
	}
	return pin.Read()
}

// deaf returns an address that accepts connections and never sends anything.
func deaf(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var conns []net.Conn
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			conns = append(conns, c)
		}
	}()
	t.Cleanup(func() {
		_ = l.Close()
		<-done
		for _, c := range conns {
			_ = c.Close()
		}
	})
	return l.Addr().String()
}

// relayClosed reports whether the keeper drives the first bay's relay closed.
func relayClosed(y *assemblytest.Site) bool {
	closed, known := y.Loop.RelayClosed("bay-1")
	return closed && known
}

// lockFile takes a lock of a logbook, like a program that hangs during a write
// (IMMEDIATE) or during its commit (EXCLUSIVE).
func lockFile(t *testing.T, path, kind string) (unlock func()) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?_pragma=busy_timeout(60000)")
	if err != nil {
		t.Fatal(err)
	}
	c, err := db.Conn(t.Context())
	if err == nil {
		_, err = c.ExecContext(t.Context(), "BEGIN "+kind)
	}
	if err != nil {
		t.Fatal(err)
	}
	return func() { _, _ = c.ExecContext(context.Background(), "ROLLBACK"); _ = c.Close(); _ = db.Close() }
}

// TestRecordDoesNotAnswer: whoever asks for history is told within seconds that the
// record does not answer; everything else on the page is as ever.
func TestRecordDoesNotAnswer(t *testing.T) {
	t.Parallel()
	path := t.TempDir() + "/logbook.db"
	y := assemblytest.New(t, configtest.Parse(t, configtest.OneBay(t, "LOGBOOK", path)), nil, nil)
	defer y.Close()
	y.Tick()
	page := y.Page(nil)
	get := func(path string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		page.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		return w
	}
	unlock := lockFile(t, path, "EXCLUSIVE")
	defer unlock()
	for path, says := range map[string]string{
		"/records": "The record does not answer.", "/records?pack=lift-24v": "The record does not answer.",
		"/api/v1/records.csv": `"code":"no-answer"`, "/api/v1/records.json?table=visits": `"code":"no-answer"`,
	} {
		w := get(path)
		if w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), says) {
			t.Errorf("%s: %d %.300s", path, w.Code, w.Body)
		}
	}
	for _, path := range []string{"/", "/bays/bay-1", "/api/v1/bays"} {
		if w := get(path); w.Code != http.StatusOK {
			t.Errorf("%s: %d", path, w.Code)
		}
	}
}

// stopReading requests the page often and reads nothing.
func stopReading(t *testing.T, addr string) {
	t.Helper()
	for range 5 {
		c, err := net.Dial("tcp", addr)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = c.Close() })
		ask := strings.Repeat("GET /api/v1/bays HTTP/1.1\r\nHost: localhost\r\n\r\n", 100)
		if _, err := c.Write([]byte(ask)); err != nil {
			t.Fatal(err)
		}
	}
}

// TestCorePanicEndsTheProgram with all relays open and an error, so that the
// exit code is not 0 and the service manager starts it again.
func TestCorePanicEndsTheProgram(t *testing.T) {
	t.Parallel()
	ticks := 0
	y := assemblytest.New(t, configtest.Parse(t, configtest.OneBay(t)), nil, func(_ *assemblytest.Site, p *assembly.Parts) {
		p.Every = time.Millisecond
		now := p.Hardware.Now
		p.Mono = func() time.Duration {
			if ticks++; ticks > 30 && ticks%2 == 0 { // in a part that is called within the tick
				panic("a bug")
			}
			return now()
		}
	})
	y.Bench.Advance(time.Hour)
	err := y.Run(context.Background())
	if err == nil || !strings.Contains(err.Error(), "a bug") || level(t, y) != gpio.Low {
		t.Errorf("error %v, the line is %s", err, level(t, y))
	}
	if usage.Is(err) || !strings.Contains(err.Error(), "all relays") {
		t.Errorf("%q", err)
	}
}
