// Package assemblytest runs whole agents in tests.
package assemblytest

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"slices"
	"testing"
	"time"

	"bayward/agent/assembly"
	"bayward/agent/bay"
	"bayward/agent/bootclock"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/agent/loop"
	"bayward/agent/order"
	"bayward/agent/words"
	"bayward/sensors/sim"
)

// Bound is for what must come; reached only by a failure, also on a machine with
// much else to do.
const Bound = 2 * time.Minute

// Unhurried is a keeper's clock by which no lease ends by itself: for ticks that are
// run as fast as they can, or far apart.
func Unhurried() time.Duration { return 0 }

// Quiet is a log that nobody reads.
func Quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

// Until asks again and again for something that must come.
func Until(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(Bound); !is(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s did not come within %s", what, Bound)
		}
	}
}

// Client keeps no connection that would outlive its test.
func Client() *http.Client {
	return &http.Client{Timeout: Bound, Transport: &http.Transport{DisableKeepAlives: true}}
}

// Get is the text of a page that must be there.
func Get(t *testing.T, url string) string {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, http.NoBody)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := Client().Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s %v %s", url, answer.Status, err, text)
	}
	return string(text)
}

// Site is an agent on simulated bays whose ticks a test runs as fast as it can.
type Site struct {
	*assembly.Agent
	Bench *sim.Bench
	Bays  map[string]*sim.Stand
	t     testing.TB
}

// New assembles an agent whose bays begin as starts say. Change alters its parts
// before; nil leaves them.
func New(t testing.TB, cfg *config.Config, starts map[string]sim.Opts, change func(*Site, *assembly.Parts)) *Site {
	t.Helper()
	s := &Site{t: t}
	var err error
	if s.Bench, s.Bays, err = hardware.Simulate(cfg, starts); err != nil {
		t.Fatal(err)
	}
	keeper, err := hardware.KeepHere(cfg, s.Bench, Unhurried)
	if err != nil {
		t.Fatal(err)
	}
	boot := bootclock.New()
	p := assembly.Parts{
		Config: cfg, Log: Quiet(), Hardware: hardware.OfBench(s.Bench), Keeper: keeper, Version: "test",
		Wall:   func() (time.Time, bool) { return time.Now(), false },
		BootID: boot.ID, Mono: boot.Now, Gap: func(logbook.Stamp) (time.Duration, bool) { return 0, false },
		Every: time.Second, GuardAfter: Bound, Patience: func(loop.Source) time.Duration { return Bound },
	}
	if change != nil {
		change(s, &p)
	}
	if s.Agent, err = assembly.New(context.Background(), p); err != nil {
		t.Fatal(err)
	}
	s.Loop.Start(context.Background())
	return s
}

// Tick lets a second pass, and gives the first bay's picture.
func (s *Site) Tick() *bay.Picture {
	s.t.Helper()
	s.Bench.Advance(time.Second)
	if err := s.Loop.Tick(context.Background()); err != nil {
		s.t.Fatal(err)
	}
	return s.Loop.Pictures()[0]
}

// Until runs ticks until the first bay is as wanted, for at most a simulated
// time.
func (s *Site) Until(what string, within time.Duration, is func(*bay.Picture) bool) {
	s.t.Helper()
	for range int(within / time.Second) {
		if is(s.Tick()) {
			return
		}
	}
	s.t.Fatalf("%s did not come within %s: %s", what, within, words.EnglishSI().Says(s.Loop.Pictures()[0]))
}

// Order gives an order to the first bay and runs the tick that takes it.
func (s *Site) Order(o order.Order) {
	s.t.Helper()
	s.OrderAt("bay-1", o)
}

// OrderAt gives an order to a bay and runs ticks until it is taken, which it must be.
func (s *Site) OrderAt(bayName string, o order.Order) {
	s.t.Helper()
	o.By = "Ann"
	e, err := s.ask(s.Loop.Submit, bayName, o) // which does not wait for the record
	if err != nil {
		s.t.Error(err)
	}
	if e.Kind != bay.OrderTaken {
		s.t.Fatalf("%s: %s", o.Kind, e.Why.Code)
	}
}

// Ask gives an order to the first bay as an edge does, runs ticks until it is answered,
// and returns the answer.
func (s *Site) Ask(o order.Order) (bay.Event, error) {
	s.t.Helper()
	return s.ask(s.Submit, "bay-1", o)
}

func (s *Site) ask(submit assembly.Submit, bayName string, o order.Order) (bay.Event, error) {
	s.t.Helper()
	type answer struct {
		e   bay.Event
		err error
	}
	done := make(chan answer, 1)
	go func() {
		e, err := submit(context.Background(), bayName, o)
		done <- answer{e, err}
	}()
	for {
		select {
		case a := <-done:
			return a.e, a.err
		default:
			s.Tick()
		}
	}
}

// Resting leaves a logbook as of an agent that has just been killed: the pack
// is proven full and has rested for half of its hour, its contactor was found
// stuck, the bay is held, and Ann's visit is open.
func Resting(t *testing.T, path, bootID string) {
	t.Helper()
	starts := map[string]sim.Opts{"bay-1": {StateOfCharge: 0.97, LevelMM: 8, PackC: 26, Charger: sim.TwoStage, Connected: true}}
	s := New(t, configtest.Parse(t, configtest.OneBay(t, "LOGBOOK", path)), starts, func(_ *Site, p *assembly.Parts) { p.BootID = bootID })
	s.Until("full", 24*time.Hour, func(p *bay.Picture) bool { return p.Charge.Full })
	s.Bays["bay-1"].SetFault(sim.ContactorWelded, true)
	s.Order(order.Order{ID: "hold-1", Kind: order.Hold})
	s.Until("a stuck contactor", time.Minute, func(p *bay.Picture) bool { return slices.Contains(p.Codes(), "contactor-stuck") })
	s.Bays["bay-1"].SetFault(sim.ContactorWelded, false)
	s.Until("rest", 4*time.Hour, func(p *bay.Picture) bool {
		return p.Charge.Ended && !p.Charge.Active && p.Now-p.Charge.EndedAt >= 30*time.Minute
	})
	s.Order(order.Order{ID: "visit-1", Kind: order.VisitOpen})
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}
