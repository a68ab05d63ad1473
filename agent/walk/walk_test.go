package walk

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
	"bayward/agent/walk/walktest"
	"bayward/sensors/sim"
)

// commissioning is a walk in a test: what is configured, what is there, and who
// walks.
type commissioning struct {
	cfg    *config.Config
	real   *config.Config // what is really wired; nil: as configured
	person *walktest.Person
	change func(*sim.Bay, *rig)
	hand   func(commission.Hand) commission.Hand
	rig    func(*rig, *sim.Bay) commission.Rig
	resume *commission.Record
	ctx    context.Context //nolint:containedctx // of one walk, not kept
	out    io.Writer       // nil: the person
}

// walkFast is so many times faster than life that the tests never wait.
const walkFast = 1e12

func (c *commissioning) walk(t *testing.T) (*commission.Record, *sim.Bay, error) {
	t.Helper()
	if c.real == nil {
		c.real = c.cfg
	}
	if c.person == nil {
		c.person = walktest.NewPerson(t)
	}
	if c.ctx == nil {
		c.ctx = t.Context()
	}
	bench, bays, err := hardware.Simulate(c.real, nil)
	if err != nil {
		t.Fatal(err)
	}
	b := &c.cfg.Bays[0]
	r := &rig{cfg: c.cfg, configPath: configtest.File(t, "c.yaml", configtest.OneBay(t)), bay: b.Name, speed: walkFast, bench: bench, sims: bays}
	if err := r.open(hardware.OfBench(bench)); err != nil {
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
	o, err := (&Options{Config: c.cfg, Bay: b, Pack: pack}).steps(t.Context(), book, r)
	if err != nil {
		t.Fatal(err)
	}
	if c.out == nil {
		c.out = c.person
	}
	o.Console, o.Resume = &commission.Console{Out: c.out, Lines: c.person.Lines}, c.resume
	if c.change != nil {
		c.change(bays[b.Name], r)
	}
	if c.hand != nil {
		o.Hand = c.hand(o.Hand)
	}
	if c.rig != nil {
		o.Rig = c.rig(r, bays[b.Name])
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

// TestWalkToTheEnd: every part that can be fitted is proven on a good bay,
// and what is found agrees with what the bay is made of.
func TestWalkToTheEnd(t *testing.T) {
	c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t))}
	rec, _, err := c.walk(t)
	if err != nil || rec.Result() != commission.Passed || !rec.Signed || rec.Person != "A. Person" {
		t.Fatalf("%v\n%s\n%s", err, rec.Text(), c.person.Said())
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
	if found := regexp.MustCompile(`-0(\.0+)? `).FindString(rec.Text() + c.person.Said()); found != "" {
		t.Errorf("less than nothing was shown: %q", found)
	}
	if said := c.person.Said(); !strings.Contains(said, "not a certified safety device") || !strings.Contains(said, "SIMULATED") {
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

// TestFailures: each step finds its fault, says what it is, and the relay
// is not closed on a bay that has not proven its sensors.
func TestFailures(t *testing.T) {
	type row struct {
		commissioning
		step, says string
		relay      string // what the relay's steps say, if they do not pass
	}
	closedAtAll := func(says string) row { return row{step: "relay", says: says} }
	rows := map[string]func(t *testing.T) row{
		"stuck probe": func(*testing.T) row {
			return row{step: "level", says: "did not follow within", relay: "has not been proven",
				commissioning: commissioning{change: func(b *sim.Bay, _ *rig) { b.SetFault(sim.ProbeStuck, true) }}}
		},
		"the plug was not pulled": func(*testing.T) row {
			return row{step: "voltage", says: "did not follow", relay: "has not been proven",
				commissioning: commissioning{hand: lie(map[commission.Action]func(){commission.UnplugPack: nil})}}
		},
		"an open probe at rest": func(*testing.T) row {
			return row{step: "rest", says: "its wire is broken", relay: "has not been proven",
				commissioning: commissioning{change: func(b *sim.Bay, _ *rig) { b.SetFault(sim.ProbeOpen, true) }}}
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
				commissioning: commissioning{person: walktest.NewPerson(t, [2]string{"Hand meter, volts", "2.46"})}}
		},
		"a level rod far off": func(t *testing.T) row {
			return row{step: "level", says: "hangs wrong", commissioning: commissioning{person: walktest.NewPerson(t, [2]string{"Level rod", "25"})}}
		},
		"a spent gas sensor": func(*testing.T) row {
			return row{step: "hydrogen", says: "within a quarter", commissioning: commissioning{
				hand: lie(map[commission.Action]func(){commission.GasOn: nil})}}
		},
		"welded at the start": func(*testing.T) row {
			return row{step: "rest", says: "welded", relay: "has not been proven",
				commissioning: commissioning{change: func(b *sim.Bay, _ *rig) { b.SetFault(sim.ContactorWelded, true) }}}
		},
		"relay does not obey": func(*testing.T) row {
			r := closedAtAll("did not close")
			r.change = func(b *sim.Bay, _ *rig) { b.SetFault(sim.ContactorStuckOpen, true) }
			return r
		},
		"welds when it closes": func(*testing.T) row {
			r := closedAtAll("the contacts are welded")
			r.rig = func(hw *rig, b *sim.Bay) commission.Rig {
				return &spoiled{rig: hw, closing: func() { b.SetFault(sim.ContactorWelded, true) }}
			}
			return r
		},
		"the watchdog relay is bridged": func(*testing.T) row {
			r := row{step: "heartbeat", says: "the watchdog relay is bridged"}
			r.rig = func(hw *rig, _ *sim.Bay) commission.Rig {
				return &spoiled{rig: hw, looking: func() { _ = hw.Beat() }}
			}
			return r
		},
		"the kernel keeps the line high": func(*testing.T) row {
			r := row{step: "death", says: "dtparam=strict_gpiod"}
			r.rig = func(hw *rig, _ *sim.Bay) commission.Rig {
				return &spoiled{rig: hw, killed: func() { _ = hw.relay().Set(true) }}
			}
			return r
		},
		"held by a person": func(*testing.T) row {
			r := closedAtAll("held by a person")
			r.change = func(*sim.Bay, *rig) {}
			return r
		},
		"plates bare": func(t *testing.T) row {
			r := closedAtAll("plates are bare")
			r.change = func(b *sim.Bay, _ *rig) {
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
			r.change = func(b *sim.Bay, hw *rig) {
				watched = b
				if old != nil {
					old(b, hw)
				}
			}
			if name == "held by a person" {
				r.hand = func(h commission.Hand) commission.Hand { return h }
				r.person = walktest.NewPerson(t)
				heldWalk(t, &r.commissioning)
				return
			}
			rec, _, err := r.walk(t)
			if err != nil {
				t.Fatal(err, r.person.Said())
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

// TestLeftOut: a signed walk in which a step was left out that a safe
// charge rests on has not passed; without test gas, or with no watchdog relay
// configured, it may.
func TestLeftOut(t *testing.T) {
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
			c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t)), person: walktest.NewPerson(t, [2]string{row.at, "skip"})}
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
	*rig
	closing, looking, killed func()
}

func (s *spoiled) CloseFor(most time.Duration) error {
	if s.closing != nil {
		s.closing()
	}
	return s.rig.CloseFor(most)
}

func (s *spoiled) Look(ctx context.Context) *commission.Look {
	if s.looking != nil {
		s.looking()
	}
	return s.rig.Look(ctx)
}

func (s *spoiled) HoldAndDie(ctx context.Context) (kill, reclaim func() error, err error) {
	die, reclaim, err := s.rig.HoldAndDie(ctx)
	if s.killed == nil || err != nil {
		return die, reclaim, err
	}
	return func() error { err := die(); s.killed(); return err }, reclaim, nil
}

// TestTwoBays: leads that were exchanged between two bays are named.
func TestTwoBays(t *testing.T) {
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
	r := &rig{cfg: c.cfg, bay: b.Name, speed: walkFast, bench: bench, sims: bays}
	if err := r.open(hardware.OfBench(bench)); err != nil {
		t.Fatal(err)
	}
	pack, _ := c.cfg.PackNamed(b.Pack)
	o, err := (&Options{Config: c.cfg, Bay: b, Pack: pack}).steps(t.Context(), book, r)
	if err != nil {
		t.Fatal(err)
	}
	o.Console = &commission.Console{Out: c.person, Lines: c.person.Lines}
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

// TestEndsSafely: wherever the person goes away, the relay is open, what
// was proven is kept, and a resumed walk does not ask for it again.
func TestEndsSafely(t *testing.T) {
	for name, end := range map[string]struct {
		at, says string
		is       error
	}{
		"quit":                {at: "Switch the fan off", is: commission.ErrQuit},
		"quit at the relay":   {at: "the charger's supply must still be off", is: commission.ErrQuit},
		"no word for charger": {at: "", is: commission.ErrQuit},
	} {
		t.Run(name, func(t *testing.T) {
			c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t)), person: walktest.NewPerson(t, [2]string{end.at, "quit"})}
			if end.at == "" {
				c.person = walktest.NewPerson(t, [2]string{`"charger locked off"`, "yes"})
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
			if err != nil || rec.Result() != commission.Passed || !strings.Contains(again.person.Said(), "Already proven") {
				t.Errorf("%v\n%s", err, rec.Text())
			}
		})
	}
	t.Run("input ends while the relay is closed", func(t *testing.T) {
		c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t)), person: walktest.NewPerson(t)}
		w := &closing{Person: c.person, at: "The relay is closed."}
		c.person.Lines = make(chan string, 64)
		rec, b, err := c.walkOn(t, w)
		if !errors.Is(err, commission.ErrEnded) || rec.Signed || b.Truth().Ordered {
			t.Errorf("%v, signed %v, ordered %v", err, rec.Signed, b.Truth().Ordered)
		}
	})
	t.Run("the terminal dies", func(t *testing.T) {
		c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t)), person: walktest.NewPerson(t)}
		w := &closing{Person: c.person, at: "The relay is closed.", broken: true}
		rec, b, err := c.walkOn(t, w)
		if !errors.Is(err, commission.ErrEnded) || rec.Signed || b.Truth().Ordered {
			t.Errorf("%v, signed %v, ordered %v", err, rec.Signed, b.Truth().Ordered)
		}
	})
	t.Run("interrupt while the relay is closed", func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t)), person: walktest.NewPerson(t), ctx: ctx}
		w := &closing{Person: c.person, at: "The relay is closed.", also: cancel}
		rec, b, err := c.walkOn(t, w)
		if !errors.Is(err, context.Canceled) || rec.Signed || b.Truth().Ordered {
			t.Errorf("%v, signed %v, ordered %v", err, rec.Signed, b.Truth().Ordered)
		}
	})
}

// closing is a terminal that goes when a text appears.
type closing struct {
	*walktest.Person
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
			close(c.Lines)
		}
	}
	return c.Person.Write(p)
}

func (c *commissioning) walkOn(t *testing.T, out io.Writer) (*commission.Record, *sim.Bay, error) {
	t.Helper()
	c.out = out
	return c.walk(t)
}

// TestBusyLine: a line that another program has ends the walk before it
// begins, with advice, and no other line is left high.
func TestBusyLine(t *testing.T) {
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
	r := &rig{cfg: cfg, bay: b.Name, speed: walkFast, bench: bench, sims: bays}
	err = r.open(hw)
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

// TestHolderFails: what the process that is to die complains of is told.
func TestHolderFails(t *testing.T) {
	if _, err := startHolder(t.Context(), "no-such.yaml", "bay-1"); err == nil || !strings.Contains(err.Error(), "no-such.yaml") {
		t.Errorf("got %v", err)
	}
}
