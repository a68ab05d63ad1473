package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/sensors/sim"
)

// answerer is a person at the walk's terminal: a question is answered by the
// first row whose text is in it, and by Enter otherwise.
type answerer struct {
	t     *testing.T
	rows  [][2]string
	lines chan string

	mu   sync.Mutex // guards what follows
	text strings.Builder
	from int // where the text begins that is not answered yet
}

// usual answers everything truthfully.
func usual() [][2]string {
	return [][2]string{
		{"Your name", "A. Person"}, {`"charger locked off"`, "charger locked off"}, {`"charger off"`, "charger off"},
		{"to sign", "A. Person"}, {`Type "again"`, "next"},
		{"clamp meter, amperes", "METER"}, {"Clamp meter now", "METER"}, {"Hand meter, volts", "METER"}, {"The meter across", "METER"},
		{"Reference thermometer", "METER"}, {"Level rod", "METER"}, {"Hydrogen in the test gas", "1.0"},
		{"Why is it left out", "no instrument here"},
	}
}

func newAnswerer(t *testing.T, first ...[2]string) *answerer {
	return &answerer{t: t, rows: append(first, usual()...), lines: make(chan string, 64)}
}

// Write is the terminal.
func (a *answerer) Write(p []byte) (int, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.text.Write(p)
	if !bytes.HasSuffix(p, []byte(" > ")) {
		return len(p), nil
	}
	asked := a.text.String()[a.from:]
	a.from = a.text.Len()
	question := strings.Join(strings.Fields(asked), " ")
	a.lines <- a.answer(question)
	return len(p), nil
}

func (a *answerer) answer(asked string) string {
	at := max(strings.LastIndex(asked, "Simulator: "), 0)
	for _, row := range a.rows {
		if !strings.Contains(asked, row[0]) {
			continue
		}
		if row[1] != "METER" {
			return row[1]
		}
		_, shown, ok := strings.Cut(asked[at:], " shows ")
		if !ok {
			a.t.Errorf("no simulated meter before: %s", asked)
			return "skip"
		}
		shown, _, _ = strings.Cut(shown, " ")
		return strings.TrimSuffix(shown, ".")
	}
	return ""
}

func (a *answerer) said() string {
	a.mu.Lock()
	defer a.mu.Unlock()
	return strings.Join(strings.Fields(a.text.String()), " ")
}

// commissioning is a walk in a test: what is configured, what is there, and who
// walks.
type commissioning struct {
	cfg    *config.Config
	real   *config.Config // what is really wired; nil: as configured
	person *answerer
	change func(*sim.Bay, *wiringRig)
	hand   func(commission.Hand) commission.Hand
	rig    func(*wiringRig, *sim.Bay) commission.Rig
	resume *commission.Record
	ctx    context.Context //nolint:containedctx // of one walk, not kept
	out    io.Writer       // nil: the person
}

// walkFast is so many times faster than life that the tests never wait.
const walkFast = 1e12

func (c *commissioning) walk(t *testing.T) (*commission.Record, *sim.Bay, error) {
	t.Helper()
	t.Setenv(asProgram, "1")
	if c.real == nil {
		c.real = c.cfg
	}
	if c.person == nil {
		c.person = newAnswerer(t)
	}
	if c.ctx == nil {
		c.ctx = t.Context()
	}
	bench, bays, err := hardware.Simulate(c.real, nil)
	if err != nil {
		t.Fatal(err)
	}
	b := &c.cfg.Bays[0]
	rig := &wiringRig{cfg: c.cfg, configPath: configtest.File(t, "c.yaml", configtest.OneBay(t)), bay: b.Name, speed: walkFast, bench: bench, sims: bays}
	if err := rig.open(hardware.OfBench(bench)); err != nil {
		t.Fatal(err)
	}
	book, err := logbook.Open(t.Context(), filepath.Join(t.TempDir(), "l.db"), assemblytest.Quiet())
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	pack, err := c.cfg.PackNamed(b.Pack)
	if err != nil {
		t.Fatal(err)
	}
	o, err := walkOptions(t.Context(), c.cfg, b, pack, book, rig)
	if err != nil {
		t.Fatal(err)
	}
	if c.out == nil {
		c.out = c.person
	}
	o.Console, o.Resume = &commission.Console{Out: c.out, Lines: c.person.lines}, c.resume
	if c.change != nil {
		c.change(bays[b.Name], rig)
	}
	if c.hand != nil {
		o.Hand = c.hand(o.Hand)
	}
	if c.rig != nil {
		o.Rig = c.rig(rig, bays[b.Name])
	}
	rec, err := commission.Walk(c.ctx, o)
	if truth := bays[b.Name].Truth(); truth.Ordered {
		t.Error("the relay is ordered closed after the walk")
	}
	kept, keptErr := lastRecord(t.Context(), book.Reader, b.Name)
	if keptErr != nil {
		t.Fatal(keptErr)
	}
	if kept != nil {
		got, _ := json.Marshal(kept)
		want, _ := json.Marshal(rec)
		if err == nil && !bytes.Equal(got, want) {
			t.Errorf("the record is not what is kept:\n%s\n%s", got, want)
		}
	}
	return rec, bays[b.Name], err
}

func stepOf(t *testing.T, r *commission.Record, key string) commission.Step {
	t.Helper()
	for _, s := range r.Steps {
		if s.Key == key {
			return s
		}
	}
	t.Fatalf("no step %q on record: %+v", key, r.Steps)
	return commission.Step{}
}

// TestWiringToTheEnd: every part that can be fitted is proven on a good bay,
// and what is found agrees with what the bay is made of.
func TestWiringToTheEnd(t *testing.T) {
	c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t))}
	rec, _, err := c.walk(t)
	if err != nil || rec.Result() != commission.Passed || !rec.Signed || rec.Person != "A. Person" {
		t.Fatalf("%v\n%s\n%s", err, rec.Text(), c.person.said())
	}
	if len(rec.Steps) != 12 {
		t.Errorf("%d steps, want 12", len(rec.Steps))
	}
	for _, s := range rec.Steps {
		if s.Result != commission.Passed || len(s.Evidence) == 0 || s.By != "A. Person" || s.Begun.BootID == "" || s.Ended.MonoS < s.Begun.MonoS {
			t.Errorf("%s: %s %q, evidence %q", s.Key, s.Result, s.Why, s.Evidence)
		}
	}
	w := c.cfg.Bays[0].Wiring
	for key, want := range map[string]struct{ is, within float64 }{
		"voltage.ratio": {w.Voltage.Ratio, 0.01 * w.Voltage.Ratio}, "voltage.offset_v": {0, 0.005},
		"current.amperes_per_volt": {w.Current.AmperesPerVolt, 0.02 * w.Current.AmperesPerVolt}, "current.zero_v": {w.Current.ZeroV, 0.002},
		"temperature.offset_c": {0, 0.1}, "level.offset_mm": {0, 0.5},
	} {
		if got, ok := rec.Calibration[key]; !ok || got < want.is-want.within || got > want.is+want.within {
			t.Errorf("%s: %v (%v), want %v within %v", key, got, ok, want.is, want.within)
		}
	}
	if found := regexp.MustCompile(`-0(\.0+)? `).FindString(rec.Text() + c.person.said()); found != "" {
		t.Errorf("less than nothing was shown: %q", found)
	}
	if said := c.person.said(); !strings.Contains(said, "not a certified safety device") || !strings.Contains(said, "SIMULATED") {
		t.Error("cautions or the mark of the simulation are missing")
	}
}

// lying is a hand that does not do one of the things it is asked for.
type lying struct {
	commission.Hand
	not map[commission.Action]func()
}

func (l lying) Do(a commission.Action) string {
	if other, ok := l.not[a]; ok {
		if other != nil {
			other()
		}
		return "done."
	}
	return l.Hand.Do(a)
}

func lie(instead map[commission.Action]func()) func(commission.Hand) commission.Hand {
	return func(h commission.Hand) commission.Hand { return lying{h, instead} }
}

// TestWiringFailures: each step finds its fault, says what it is, and the relay
// is not closed on a bay that has not proven its sensors.
func TestWiringFailures(t *testing.T) {
	type row struct {
		commissioning
		step, says string
		relay      string // what the relay's steps say, if they do not pass
	}
	closedAtAll := func(says string) row { return row{step: "relay", says: says} }
	rows := map[string]func(t *testing.T) row{
		"stuck probe": func(*testing.T) row {
			return row{step: "level", says: "did not follow within", relay: "has not been proven",
				commissioning: commissioning{change: func(b *sim.Bay, _ *wiringRig) { b.SetFault(sim.ProbeStuck, true) }}}
		},
		"the plug was not pulled": func(*testing.T) row {
			return row{step: "voltage", says: "did not follow", relay: "has not been proven",
				commissioning: commissioning{hand: lie(map[commission.Action]func(){commission.UnplugPack: nil})}}
		},
		"an open probe at rest": func(*testing.T) row {
			return row{step: "rest", says: "its wire is broken", relay: "has not been proven",
				commissioning: commissioning{change: func(b *sim.Bay, _ *wiringRig) { b.SetFault(sim.ProbeOpen, true) }}}
		},
		"swapped thermometers": func(t *testing.T) row {
			wired := configtest.Parse(t, configtest.OneBay(t))
			w := &wired.Bays[0].Wiring
			w.Temperature.Pack, w.Temperature.Ambient = w.Temperature.Ambient, w.Temperature.Pack
			return row{step: "temperature", says: "the two are exchanged", commissioning: commissioning{real: wired}}
		},
		"wrong divider": func(t *testing.T) row {
			wired := configtest.Parse(t, configtest.OneBay(t))
			wired.Bays[0].Wiring.Voltage.Ratio *= 1.06
			return row{step: "voltage", says: "spread of parts", commissioning: commissioning{real: wired}}
		},
		"current the wrong way round": func(t *testing.T) row {
			wired := configtest.Parse(t, configtest.OneBay(t))
			wired.Bays[0].Wiring.Current.AmperesPerVolt *= -1
			return row{step: "current", says: "which means charging", commissioning: commissioning{real: wired}}
		},
		"a meter on the wrong range": func(t *testing.T) row {
			return row{step: "voltage", says: "spread of parts",
				commissioning: commissioning{person: newAnswerer(t, [2]string{"Hand meter, volts", "2.46"})}}
		},
		"a level rod far off": func(t *testing.T) row {
			return row{step: "level", says: "hangs wrong", commissioning: commissioning{person: newAnswerer(t, [2]string{"Level rod", "25"})}}
		},
		"a spent gas sensor": func(*testing.T) row {
			return row{step: "hydrogen", says: "within a quarter", commissioning: commissioning{
				hand: lie(map[commission.Action]func(){commission.GasOn: nil})}}
		},
		"welded at the start": func(*testing.T) row {
			return row{step: "rest", says: "welded", relay: "has not been proven",
				commissioning: commissioning{change: func(b *sim.Bay, _ *wiringRig) { b.SetFault(sim.ContactorWelded, true) }}}
		},
		"relay does not obey": func(*testing.T) row {
			r := closedAtAll("did not close")
			r.change = func(b *sim.Bay, _ *wiringRig) { b.SetFault(sim.ContactorStuckOpen, true) }
			return r
		},
		"welds when it closes": func(*testing.T) row {
			r := closedAtAll("the contacts are welded")
			r.rig = func(rig *wiringRig, b *sim.Bay) commission.Rig {
				return &spoiled{wiringRig: rig, closing: func() { b.SetFault(sim.ContactorWelded, true) }}
			}
			return r
		},
		"the watchdog relay is bridged": func(*testing.T) row {
			r := row{step: "heartbeat", says: "the watchdog relay is bridged"}
			r.rig = func(rig *wiringRig, _ *sim.Bay) commission.Rig {
				return &spoiled{wiringRig: rig, looking: func() { _ = rig.Beat() }}
			}
			return r
		},
		"the kernel keeps the line high": func(*testing.T) row {
			r := row{step: "death", says: "dtparam=strict_gpiod"}
			r.rig = func(rig *wiringRig, _ *sim.Bay) commission.Rig {
				return &spoiled{wiringRig: rig, killed: func() { _ = rig.relay().Set(true) }}
			}
			return r
		},
		"held by a person": func(*testing.T) row {
			r := closedAtAll("held by a person")
			r.change = func(*sim.Bay, *wiringRig) {}
			return r
		},
		"plates bare": func(t *testing.T) row {
			r := closedAtAll("plates are bare")
			r.change = func(b *sim.Bay, _ *wiringRig) {
				for cell := 1; cell <= 12; cell++ {
					if err := b.Leak(cell, 170); err != nil {
						t.Error(err)
					}
				}
			}
			return r
		},
		"the charger is not off": func(*testing.T) row {
			r := closedAtAll("the charger is not off")
			r.hand = lie(map[commission.Action]func(){commission.ChargerOff: nil})
			return r
		},
	}
	for name, build := range rows {
		t.Run(name, func(t *testing.T) {
			r := build(t)
			r.cfg = configtest.Parse(t, configtest.OneBay(t))
			var watched *sim.Bay
			old := r.change
			r.change = func(b *sim.Bay, rig *wiringRig) {
				watched = b
				if old != nil {
					old(b, rig)
				}
			}
			if name == "held by a person" {
				r.hand = func(h commission.Hand) commission.Hand { return h }
				r.person = newAnswerer(t)
				heldWalk(t, &r.commissioning)
				return
			}
			rec, _, err := r.walk(t)
			if err != nil {
				t.Fatal(err, r.person.said())
			}
			s := stepOf(t, rec, r.step)
			if s.Result != commission.Failed || !strings.Contains(s.Why, r.says) {
				t.Errorf("%s: %s %q, want %q\n%s", s.Key, s.Result, s.Why, r.says, rec.Text())
			}
			if rec.Result() != commission.Failed {
				t.Error("the walk as a whole has not failed")
			}
			if r.relay != "" {
				for _, key := range []string{"relay", "heartbeat", "death"} {
					if s := stepOf(t, rec, key); s.Result != commission.Failed || !strings.Contains(s.Why, r.relay) {
						t.Errorf("%s: %s %q, want %q", key, s.Result, s.Why, r.relay)
					}
				}
			}
			if name == "the charger is not off" && watched.Truth().Totals.InAh > 0.05 {
				t.Errorf("%.3f Ah were charged by a walk", watched.Truth().Totals.InAh)
			}
		})
	}
}

// TestWiringLeftOut: a signed walk in which a step was left out that a safe
// charge rests on has not passed; without test gas, or with no watchdog relay
// configured, it may.
func TestWiringLeftOut(t *testing.T) {
	for name, row := range map[string]struct {
		at     string // where "skip" is typed
		step   string
		result commission.Result
		want   commission.Result
	}{
		"voltage":            {"pull the pack's plug", "voltage", commission.Skipped, commission.Failed},
		"charger not locked": {`"charger off"`, "relay", commission.Skipped, commission.NotDone},
		"test gas":           {"Hydrogen in the test gas", "hydrogen", commission.Skipped, commission.Passed},
		"no watchdog relay":  {"nowhere", "heartbeat", commission.NotFitted, commission.Passed},
	} {
		t.Run(name, func(t *testing.T) {
			c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t)), person: newAnswerer(t, [2]string{row.at, "skip"})}
			if row.result == commission.NotFitted {
				c.cfg.Bays[0].Wiring.Relay.Heartbeat = ""
			}
			rec, _, err := c.walk(t)
			if err != nil || !rec.Signed {
				t.Fatalf("%v\n%s", err, rec.Text())
			}
			if s := stepOf(t, rec, row.step); s.Result != row.result || rec.Result() != row.want {
				t.Errorf("%s: %s %q; the walk: %q, want %q", s.Key, s.Result, s.Why, rec.Result(), row.want)
			}
		})
	}
}

// spoiled is hardware that something is done to behind the walk's back.
type spoiled struct {
	*wiringRig
	closing, looking, killed func()
}

func (s *spoiled) CloseFor(most time.Duration) error {
	if s.closing != nil {
		s.closing()
	}
	return s.wiringRig.CloseFor(most)
}

func (s *spoiled) Look(ctx context.Context) *commission.Look {
	if s.looking != nil {
		s.looking()
	}
	return s.wiringRig.Look(ctx)
}

func (s *spoiled) HoldAndDie(ctx context.Context) (kill, reclaim func() error, err error) {
	die, reclaim, err := s.wiringRig.HoldAndDie(ctx)
	if s.killed == nil || err != nil {
		return die, reclaim, err
	}
	return func() error { err := die(); s.killed(); return err }, reclaim, nil
}

// TestWiringOfTwoBays: leads that were exchanged between two bays are named.
func TestWiringOfTwoBays(t *testing.T) {
	const second = "\n  - name: bay-2\n    pack: lift-a\npacks:"
	cfg := configtest.Parse(t, strings.Replace(configtest.OneBay(t), "\npacks:", second, 1))
	for name, row := range map[string]struct {
		step, says string
		swap       func(a, b *config.Wiring)
	}{
		"sense leads": {"voltage", "sense leads of the two bays are exchanged", func(a, b *config.Wiring) {
			a.I2C, b.I2C = b.I2C, a.I2C // every input of the two converters
		}},
		"thermometers": {"temperature", "the pack's sensor of bay-2 followed", func(a, b *config.Wiring) {
			a.Temperature.Pack, b.Temperature.Pack = b.Temperature.Pack, a.Temperature.Pack
		}},
	} {
		t.Run(name, func(t *testing.T) {
			wired := configtest.Parse(t, strings.Replace(configtest.OneBay(t), "\npacks:", second, 1))
			row.swap(&wired.Bays[0].Wiring, &wired.Bays[1].Wiring)
			c := commissioning{cfg: cfg, real: wired}
			rec, _, err := c.walk(t)
			if err != nil {
				t.Fatal(err)
			}
			if s := stepOf(t, rec, row.step); s.Result != commission.Failed || !strings.Contains(s.Why, row.says) {
				t.Errorf("%s %q, want %q", s.Result, s.Why, row.says)
			}
		})
	}
}

// heldWalk is a bay that the logbook knows as held: the walk's core keeps the
// relay open as the agent would.
func heldWalk(t *testing.T, c *commissioning) {
	t.Helper()
	core := bay.New(mustSetup(t, c.cfg))
	core.Doubt("test")
	pic, _ := core.Step(&bay.Readings{})
	if pic.Permit.Granted {
		t.Fatal("a doubted memory grants")
	}
	path := filepath.Join(t.TempDir(), "l.db")
	book, err := logbook.Open(t.Context(), path, assemblytest.Quiet())
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	if err := book.SaveMemory(t.Context(), "bay-1", logbook.Stamp{Wall: time.Unix(0, 0)}, []byte("not json")); err != nil {
		t.Fatal(err)
	}
	bench, bays, err := hardware.Simulate(c.cfg, nil)
	if err != nil {
		t.Fatal(err)
	}
	b := &c.cfg.Bays[0]
	rig := &wiringRig{cfg: c.cfg, bay: b.Name, speed: walkFast, bench: bench, sims: bays}
	if err := rig.open(hardware.OfBench(bench)); err != nil {
		t.Fatal(err)
	}
	pack, _ := c.cfg.PackNamed(b.Pack)
	o, err := walkOptions(t.Context(), c.cfg, b, pack, book, rig)
	if err != nil {
		t.Fatal(err)
	}
	o.Console = &commission.Console{Out: c.person, Lines: c.person.lines}
	rec, err := commission.Walk(t.Context(), o)
	if s := stepOf(t, rec, "relay"); err != nil || s.Result != commission.Failed || !strings.Contains(s.Why, "held by a person") {
		t.Errorf("%v: %s %q", err, s.Result, s.Why)
	}
}

func mustSetup(t *testing.T, cfg *config.Config) bay.Setup {
	t.Helper()
	s, err := setupOf(cfg, cfg.Bays[0].Name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestWiringEndsSafely: wherever the person goes away, the relay is open, what
// was proven is kept, and a resumed walk does not ask for it again.
func TestWiringEndsSafely(t *testing.T) {
	for name, end := range map[string]struct {
		at, says string
		is       error
	}{
		"quit":                {at: "Switch the fan off", is: commission.ErrQuit},
		"quit at the relay":   {at: "the charger's supply must still be off", is: commission.ErrQuit},
		"no word for charger": {at: "", is: commission.ErrQuit},
	} {
		t.Run(name, func(t *testing.T) {
			c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t)), person: newAnswerer(t, [2]string{end.at, "quit"})}
			if end.at == "" {
				c.person = newAnswerer(t, [2]string{`"charger locked off"`, "yes"})
			}
			rec, _, err := c.walk(t)
			if !errors.Is(err, end.is) || rec.Signed || rec.Result() == commission.Passed {
				t.Fatalf("%v, %s", err, rec.Text())
			}
			if end.at == "" {
				return
			}
			again := commissioning{cfg: c.cfg, resume: rec}
			if !commission.MayResume(rec, &c.cfg.Bays[0], c.cfg.Packs[0], true) {
				t.Fatal("it cannot be gone on with")
			}
			rec, _, err = again.walk(t)
			if err != nil || rec.Result() != commission.Passed || !strings.Contains(again.person.said(), "Already proven") {
				t.Errorf("%v\n%s", err, rec.Text())
			}
		})
	}
	t.Run("input ends while the relay is closed", func(t *testing.T) {
		c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t)), person: newAnswerer(t)}
		w := &closing{answerer: c.person, at: "The relay is closed."}
		c.person.lines = make(chan string, 64)
		rec, b, err := c.walkOn(t, w)
		if !errors.Is(err, commission.ErrEnded) || rec.Signed || b.Truth().Ordered {
			t.Errorf("%v, signed %v, ordered %v", err, rec.Signed, b.Truth().Ordered)
		}
	})
	t.Run("the terminal dies", func(t *testing.T) {
		c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t)), person: newAnswerer(t)}
		w := &closing{answerer: c.person, at: "The relay is closed.", broken: true}
		rec, b, err := c.walkOn(t, w)
		if !errors.Is(err, commission.ErrEnded) || rec.Signed || b.Truth().Ordered {
			t.Errorf("%v, signed %v, ordered %v", err, rec.Signed, b.Truth().Ordered)
		}
	})
	t.Run("interrupt while the relay is closed", func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t)), person: newAnswerer(t), ctx: ctx}
		w := &closing{answerer: c.person, at: "The relay is closed.", also: cancel}
		rec, b, err := c.walkOn(t, w)
		if !errors.Is(err, context.Canceled) || rec.Signed || b.Truth().Ordered {
			t.Errorf("%v, signed %v, ordered %v", err, rec.Signed, b.Truth().Ordered)
		}
	})
}

// closing is a terminal that goes when a text appears.
type closing struct {
	*answerer
	at     string
	broken bool   // later writes fail; otherwise the input ends
	also   func() // instead
	gone   bool
}

func (c *closing) Write(p []byte) (int, error) {
	if c.gone && c.broken {
		return 0, os.ErrClosed
	}
	if !c.gone && strings.Contains(string(p), c.at) {
		c.gone = true
		switch {
		case c.also != nil:
			c.also()
		case !c.broken:
			close(c.lines)
		}
	}
	return c.answerer.Write(p)
}

func (c *commissioning) walkOn(t *testing.T, out io.Writer) (*commission.Record, *sim.Bay, error) {
	t.Helper()
	c.out = out
	return c.walk(t)
}

// TestWiringCommand runs the command as a person would, from its own process'
// standard input to the file and the record that it leaves.
func TestWiringCommand(t *testing.T) {
	t.Setenv(asProgram, "1")
	path, fragment := configtest.File(t, "c.yaml", configtest.OneBay(t)), filepath.Join(t.TempDir(), "calibration.yaml")
	person := newAnswerer(t)
	in, typed := io.Pipe()
	done := make(chan struct{})
	go func() {
		defer close(done)
		for line := range person.lines {
			if _, err := io.WriteString(typed, line+"\n"); err != nil {
				return
			}
		}
		_ = typed.Close()
	}()
	var complaints bytes.Buffer
	code := run(t.Context(), []string{"wiring", "--config", path, "--speed", "1000", "--fragment", fragment}, &program{in, person, &complaints})
	close(person.lines)
	<-done
	if code != exitDone || complaints.Len() > 0 {
		t.Fatalf("exit code %d, %s\n%s", code, &complaints, person.text.String())
	}
	typedToo := strings.ReplaceAll(person.text.String(), " > ", " >\n") // the terminal shows the answer's line end
	for i, line := range strings.Split(typedToo, "\n") {
		if n := len([]rune(line)); n > 80 || strings.ContainsAny(line, "\r\x1b\t") {
			t.Errorf("line %d has %d characters or moves the cursor: %q", i+1, n, line)
		}
	}
	inConfiguration(t, fragment)

	code, out, said := bayward(t, "", "wiring", "--config", path, "--last")
	if code != exitDone || said != "" || !strings.Contains(out, "Result: passed; signed by A. Person.") || !strings.Contains(out, "SIMULATED") {
		t.Errorf("--last: %d %s\n%s", code, said, out)
	}
	code, out, _ = bayward(t, "", "wiring", "--config", path, "--last", "--json")
	var rec commission.Record
	if err := json.Unmarshal([]byte(out), &rec); code != exitDone || err != nil || !rec.Signed || len(rec.Steps) != 12 {
		t.Errorf("--last --json: %d, %v\n%s", code, err, out)
	}
	for name, row := range map[string]struct {
		args []string
		says string
	}{
		"the fragment is there already": {[]string{"--fragment", fragment}, "not overwritten"},
		"nothing to resume":             {[]string{"--resume"}, "no unfinished walk"},
		"no such bay":                   {[]string{"--bay", "bay-9"}, "must be one of bay-1"},
		"too fast":                      {[]string{"--speed", "0"}, "1 to 1000"},
		"json of a walk":                {[]string{"--json"}, "--json needs --last"},
	} {
		code, _, said := bayward(t, "", append([]string{"wiring", "--config", path}, row.args...)...)
		if code != exitUsage || !strings.Contains(said, row.says) {
			t.Errorf("%s: exit code %d, said %q", name, code, said)
		}
	}
}

// inConfiguration copies a fragment's values over those of the shipped example
// and checks the outcome: its keys are those of the configuration.
func inConfiguration(t *testing.T, fragment string) {
	t.Helper()
	text, err := os.ReadFile(fragment)
	if err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(example)
	if err != nil {
		t.Fatal(err)
	}
	changed, part, keys := string(whole), "", 0
	for _, line := range strings.Split(string(text), "\n") {
		key, value, ok := strings.Cut(strings.TrimSpace(line), ":")
		switch {
		case strings.HasPrefix(line, "        ") && ok:
			value, _, _ = strings.Cut(value, "#")
			at := strings.Index(changed, "\n      "+part+":")
			end := at + strings.Index(changed[at:], "\n        "+key+":")
			if at < 0 || end < at {
				t.Fatalf("the example has no %s.%s", part, key)
			}
			rest := changed[end+1:]
			_, tail, _ := strings.Cut(rest, "\n")
			changed = changed[:end+1] + "        " + key + ":" + value + "\n" + tail
			keys++
		case strings.HasPrefix(line, "      "):
			part = key
		}
	}
	if keys != 6 {
		t.Errorf("%d values in the fragment, want 6:\n%s", keys, text)
	}
	if _, err := config.Parse("fragment.yaml", []byte(changed)); err != nil {
		t.Errorf("%v\n%s", err, text)
	}
}

// TestWiringBesideAnAgent: an agent has the bays to itself.
func TestWiringBesideAnAgent(t *testing.T) {
	text := configtest.OneBay(t)
	cfg := configtest.Parse(t, text)
	book, err := logbook.Open(t.Context(), cfg.Logbook.Path, assemblytest.Quiet())
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	code, _, said := bayward(t, "", "wiring", "--config", configtest.File(t, "c.yaml", text))
	if code != exitFailed || !strings.Contains(said, "another agent has it open (process ") || !strings.Contains(said, "systemctl stop bayward") {
		t.Errorf("exit code %d, said %q", code, said)
	}
}

// TestWiringBusyLine: a line that another program has ends the walk before it
// begins, with advice, and no other line is left high.
func TestWiringBusyLine(t *testing.T) {
	cfg := configtest.Parse(t, configtest.OneBay(t))
	bench, bays, err := hardware.Simulate(cfg, nil)
	if err != nil {
		t.Fatal(err)
	}
	hw := hardware.OfBench(bench)
	pin := hw.Pin
	hw.Pin = func(name string) (gpio.PinIO, error) {
		if name == cfg.Bays[0].Wiring.Relay.Heartbeat {
			return busyPin{}, nil
		}
		return pin(name)
	}
	b := &cfg.Bays[0]
	rig := &wiringRig{cfg: cfg, bay: b.Name, speed: walkFast, bench: bench, sims: bays}
	err = rig.open(hw)
	for _, want := range []string{"bay bay-1: wiring.relay.heartbeat", b.Wiring.Relay.Heartbeat, "systemctl stop bayward", "gpioinfo"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	if bays[b.Name].Truth().Ordered {
		t.Error("the relay is ordered closed")
	}
}

// busyPin is a line that the kernel has given to another program; periph gives
// its words without the number.
type busyPin struct{ gpio.PinIO }

func (busyPin) Out(gpio.Level) error {
	return errors.New("line_request ioctl: " + syscall.EBUSY.Error())
}

// TestWiringHolderFails: what the process that is to die complains of is told.
func TestWiringHolderFails(t *testing.T) {
	t.Setenv(asProgram, "1")
	if _, err := startHolder(t.Context(), "no-such.yaml", "bay-1"); err == nil || !strings.Contains(err.Error(), "no-such.yaml") {
		t.Errorf("got %v", err)
	}
}

// TestWiringHoldAlone: the process that holds the relay does nothing without
// its parent.
func TestWiringHoldAlone(t *testing.T) {
	code, out, said := bayward(t, "", "wiring-hold", "--config", configtest.File(t, "c.yaml", configtest.OneBay(t)), "--bay", "bay-1")
	if code != exitFailed || out != "" || !strings.Contains(said, "which alone may start it") {
		t.Errorf("exit code %d, %q, %q", code, out, said)
	}
}
