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
	"testing"
	"time"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/agent/walk/walktest"
	"bayward/agent/words"
	"bayward/sensors/sim"
)

// commissioning is a walk in a test: the configuration, the hardware and the person.
type commissioning struct {
	cfg    *config.Config
	real   *config.Config // the actual wiring; nil: as configured
	person *walktest.Person
	resume *commission.Record
	ctx    context.Context //nolint:containedctx // of one walk, not kept
	out    io.Writer       // nil: the person
}

// walkFast is a multiple of real time that is high enough for tests never to wait.
const walkFast = 1e12

func (c *commissioning) walk(t *testing.T) (*commission.Record, *sim.Stand, error) {
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
	if err := r.open(t.Context(), hardware.OfBench(bench), bench.Now); err != nil {
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
	o.Console, o.Resume = &commission.Console{Voice: words.EnglishSI(), Out: c.out, Lines: c.person.Lines}, c.resume
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

// TestWalkToTheEnd: every part that can be fitted is proven on a good bay, and the
// findings agree with the bay's real properties.
func TestWalkToTheEnd(t *testing.T) {
	c := commissioning{cfg: configtest.Parse(t, configtest.OneBay(t))}
	rec, _, err := c.walk(t)
	if err != nil || rec.Result() != commission.Passed || !rec.Signed || rec.Person != "A. Person" {
		t.Fatalf("%v\n%s\n%s", err, rec.Text(words.EnglishSI()), c.person.Said())
	}
	if len(rec.Steps) != 15 {
		t.Errorf("%d steps, want 15", len(rec.Steps))
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
	if found := regexp.MustCompile(`-0(\.0+)? `).FindString(rec.Text(words.EnglishSI()) + c.person.Said()); found != "" {
		t.Errorf("less than nothing was shown: %q", found)
	}
	if said := c.person.Said(); !strings.Contains(said, "not a certified safety device") || !strings.Contains(said, "SIMULATED") {
		t.Error("cautions or the mark of the simulation are missing")
	}
}

// TestHeld: a hold in the logbook keeps the relay open.
func TestHeld(t *testing.T) {
	heldWalk(t, &commissioning{cfg: configtest.Parse(t, configtest.OneBay(t)), person: walktest.NewPerson(t)})
}

// heldWalk sets up a bay that is held in the logbook. The walk's core keeps the
// relay open, as the agent would.
func heldWalk(t *testing.T, c *commissioning) {
	t.Helper()
	core := bay.New(mustSetup(t, c.cfg))
	core.Doubt(bay.MemoryUnreadable, "")
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
	if err := r.open(t.Context(), hardware.OfBench(bench), bench.Now); err != nil {
		t.Fatal(err)
	}
	pack, _ := c.cfg.PackNamed(b.Pack)
	o, err := (&Options{Config: c.cfg, Bay: b, Pack: pack}).steps(t.Context(), book, r)
	if err != nil {
		t.Fatal(err)
	}
	o.Console = &commission.Console{Voice: words.EnglishSI(), Out: c.person, Lines: c.person.Lines}
	rec, err := commission.Walk(t.Context(), o)
	if s := stepOf(t, rec, "relay"); err != nil || s.Result != commission.Failed || !strings.Contains(s.Why, "on hold") {
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

// TestEndsSafely: wherever the person stops, the relay is open, everything proven is
// kept, and a resumed walk does not ask for it again.
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
				t.Fatalf("%v, %s", err, rec.Text(words.EnglishSI()))
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
				t.Errorf("%v\n%s", err, rec.Text(words.EnglishSI()))
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

// closing is a terminal that closes when a text appears.
type closing struct {
	*walktest.Person
	at     string
	broken bool   // later writes fail; otherwise the input ends
	also   func() // called instead
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

func (c *commissioning) walkOn(t *testing.T, out io.Writer) (*commission.Record, *sim.Stand, error) {
	t.Helper()
	c.out = out
	return c.walk(t)
}

// TestHolderFails: the error of the process to be killed is passed on.
func TestHolderFails(t *testing.T) {
	if _, err := startHolder(t.Context(), "no-such.yaml", "bay-1", ""); err == nil || !strings.Contains(err.Error(), "no-such.yaml") {
		t.Errorf("got %v", err)
	}
}
