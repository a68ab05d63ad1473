package main

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"io"
	"log/slog"
	"net"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"
	"periph.io/x/conn/v3/gpio"

	"bayward/agent/bay"
	"bayward/agent/config/configtest"
	"bayward/agent/interlock"
	"bayward/agent/logwriter"
	"bayward/agent/words"
	"bayward/sensors/sim"
)

// TestStuckEdges: the broker takes connections and says nothing, the logbook's
// file is locked by another program, a reader of the page has stopped reading,
// and nobody reads terminal and log. The charge goes on, tick by tick, and the
// relay opens as fast as ever when the level probe breaks.
func TestStuckEdges(t *testing.T) {
	t.Parallel()
	dumb := deaf(t)
	path := t.TempDir() + "/logbook.db"
	cfg := configtest.Parse(t, configtest.OneBay(t, "LOGBOOK", path)+"mqtt:\n  broker: tcp://"+dumb+"\n")
	terminal, nobody := io.Pipe()
	log := logwriter.New(nobody)
	y := newYard(t, cfg, nil, func(p *parts) {
		p.log = slog.New(slog.NewTextHandler(log, nil))
		p.outputs = append(p.outputs, newPrinter(nobody))
	})
	defer func() { _ = terminal.Close() }()
	ctx, cancel := cancelled(t)
	g, ctx := errgroup.WithContext(ctx)
	if err := y.serve(ctx, g); err != nil {
		t.Fatal(err)
	}
	unlock := lockFile(t, path)
	stopReading(t, y.listener.Addr().String())
	y.until("a closed relay", 5*time.Minute, func(p *bay.Picture) bool { return p.Permit.Granted })
	for range 3600 {
		if p := y.tick(); !p.Permit.Granted || !y.loop.RelayClosed("bay-1") {
			t.Fatalf("blocked: %s", words.EnglishSI().Says(p))
		}
	}
	until(t, "a record that fails", func() bool { return y.tick().Findings[interlock.RecordFailing].Raised })
	began := y.bench.Now()
	y.bays["bay-1"].SetFault(sim.ProbeOpen, true)
	y.until("an open relay", time.Minute, func(p *bay.Picture) bool { return !p.Permit.Granted })
	if took := y.bench.Now() - began; took > interlock.Table[interlock.LevelUnknown].Raise+time.Second || y.level() != gpio.Low {
		t.Errorf("opened after %s, the line is %s", took, y.level())
	}
	if y.loop.GuardTrips() != 0 {
		t.Error("the guard had to open")
	}
	cancel()
	if err := g.Wait(); err != nil {
		t.Error(err)
	}
	unlock()
	_ = terminal.CloseWithError(errors.New("the terminal is gone")) // lets the printer go
	if err := y.close(); err != nil {
		t.Error(err)
	}
	log.Close()
}

// level is that of the relay's line.
func (y *yard) level() gpio.Level {
	y.t.Helper()
	pin, err := y.bench.Pin(y.cfg.Bays[0].Wiring.Relay.Pin)
	if err != nil {
		y.t.Fatal(err)
	}
	return pin.Read()
}

// deaf is an address that takes connections and never says a word.
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

// lockFile takes the write lock of a logbook, as a program that hangs in the
// middle of a write would.
func lockFile(t *testing.T, path string) (unlock func()) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?_pragma=busy_timeout(60000)")
	if err != nil {
		t.Fatal(err)
	}
	c, err := db.Conn(t.Context())
	if err == nil {
		_, err = c.ExecContext(t.Context(), "BEGIN IMMEDIATE")
	}
	if err != nil {
		t.Fatal(err)
	}
	return func() { _, _ = c.ExecContext(context.Background(), "ROLLBACK"); _ = c.Close(); _ = db.Close() }
}

// stopReading asks for the page often and reads nothing.
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
	y := newYard(t, configtest.Parse(t, configtest.OneBay(t)), nil, func(p *parts) {
		p.every = time.Millisecond
		now := p.hw.Now
		p.manager, p.mono = nil, func() time.Duration {
			if ticks++; ticks > 30 && ticks%2 == 0 { // of a part that is asked within the tick
				panic("a bug")
			}
			return now()
		}
	})
	y.bench.Advance(time.Hour)
	err := y.run(context.Background(), nil)
	if err == nil || !strings.Contains(err.Error(), "a bug") || y.level() != gpio.Low {
		t.Errorf("error %v, the line is %s", err, y.level())
	}
	var out bytes.Buffer
	if code := (&program{stderr: &out}).complain(err); code != exitFailed || !strings.Contains(out.String(), "all relays") {
		t.Errorf("exit code %d, %q", code, out.String())
	}
}

// TestKeep: a part that panics starts again, and ends with the context.
func TestKeep(t *testing.T) {
	ctx, cancel := cancelled(t)
	a := &agent{parts: parts{log: quiet()}}
	calls := 0
	err := a.keep(ctx, "part", func(context.Context) error {
		calls++
		cancel()
		panic("a bug")
	})
	if err != nil || calls != 1 {
		t.Errorf("%v after %d calls", err, calls)
	}
	gone := errors.New("gone")
	if err := a.keep(t.Context(), "part", func(context.Context) error { return gone }); !errors.Is(err, gone) {
		t.Errorf("an error of its own: %v", err)
	}
}
