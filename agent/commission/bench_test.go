package commission_test

import (
	"context"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"

	"bayward/agent/bay"
	"bayward/agent/commission"
	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/agent/lease"
	"bayward/agent/walk"
	"bayward/agent/walk/walktest"
	"bayward/agent/words"
	"bayward/sensors"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

// bench is a walk's hardware: simulated bays behind the real drivers, and a clock
// that only the walk advances.
type bench struct {
	*sim.Bench
	truth *sim.Stand // the bay under the walk
	name  string
	bays  map[string]*sensors.Set

	wires  *wiring.Relay // of the bay under the walk
	keeper *hardware.Keeper
	relay  *lease.Relay
	until  time.Duration // when the relay opens at the latest
	dying  bool          // the process to be killed holds the relay

	// Changes to the hardware that the walk is not told of.
	closing, closed, looking, killed func()
	openFails                        error
}

// newBench runs the configuration cfg against the hardware wired.
func newBench(t *testing.T, cfg, wired *config.Config) *bench {
	t.Helper()
	b, truths, err := hardware.Simulate(wired, nil)
	if err != nil {
		t.Fatal(err)
	}
	opened, err := sensors.Open(cfg, hardware.OfBench(b))
	if err != nil {
		t.Fatal(err)
	}
	keeper, err := hardware.KeepHere(cfg, b, b.Now)
	if err != nil {
		t.Fatal(err)
	}
	out := &bench{
		Bench: b, truth: truths[cfg.Bays[0].Name], name: cfg.Bays[0].Name, bays: map[string]*sensors.Set{},
		wires: cfg.Bays[0].Wiring.Relay, keeper: keeper, relay: keeper.Relay(&cfg.Bays[0]),
	}
	for _, one := range opened {
		out.bays[one.Name()] = one
	}
	return out
}

// line drives a line of the bay past its keeper.
func (b *bench) line(name string, level gpio.Level) {
	pin, err := b.Pin(name)
	if err == nil {
		err = pin.Out(level)
	}
	if err != nil {
		panic(err)
	}
}

func (b *bench) lookAt(ctx context.Context, name string) *commission.Look {
	l := &commission.Look{}
	for _, s := range b.bays[name].Sources() {
		s.Sample(ctx, &l.Readings)
	}
	l.Now, l.Volts = b.Now(), b.bays[name].Volts()
	l.Rods, l.RodsRead = b.bays[name].Rods()
	return l
}

func (b *bench) Look(ctx context.Context) *commission.Look {
	if b.looking != nil {
		b.looking()
	}
	return b.lookAt(ctx, b.name)
}

func (b *bench) Others(ctx context.Context) map[string]*commission.Look {
	out := map[string]*commission.Look{}
	for name := range b.bays {
		if name != b.name {
			out[name] = b.lookAt(ctx, name)
		}
	}
	return out
}

func (b *bench) CloseFor(most time.Duration) error {
	if b.closing != nil {
		b.closing()
	}
	b.until = b.Now() + most
	err := b.Renew(true)
	if b.closed != nil {
		b.closed()
	}
	return err
}

func (b *bench) Renew(beat bool) error {
	return b.relay.Lease(b.Now(), max(b.until-b.Now(), 0), beat)
}

func (b *bench) Open() error {
	b.dying = false
	if err := b.relay.Lease(b.Now(), 0, false); err != nil {
		return err
	}
	return b.openFails
}

// HoldAndDie stands in for the other process: it holds the relay until it is killed,
// which its keeper notices.
func (b *bench) HoldAndDie(context.Context) (kill, reclaim func() error, err error) {
	b.dying = true
	kill = func() error {
		b.dying = false
		err := b.keeper.Close()
		if b.killed != nil {
			b.killed()
		}
		return err
	}
	return kill, func() error { return nil }, b.hold()
}

func (b *bench) hold() error { return b.relay.Lease(b.Now(), lease.Longest, true) }

func (b *bench) Wait(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	b.Advance(d)
	if b.dying {
		return b.hold()
	}
	return nil
}

var _ commission.Rig = (*bench)(nil)

// trial is a walk in a test: the configuration, the hardware and the person.
type trial struct {
	text   string               // the configuration; "" for usual
	change func(*config.Config) // applied to the configuration
	wired  func(*config.Config) // applied to the hardware only
	spoil  func(*bench)         // at the start
	lies   map[commission.Action]func(*bench)
	answer [][2]string
	resume *commission.Record
	held   bool   // by a person, as the core was restored
	voice  string // the person's language; "" for English

	b    *bench
	said func() string
	kept *commission.Record // the newest one kept
	cfg  *config.Config
}

// hand does what it is asked, except for its lies.
type hand struct {
	commission.Hand
	*trial
}

func (h hand) Do(a commission.Action) {
	lie, lies := h.lies[a]
	switch {
	case !lies:
		h.Hand.Do(a)
	case lie != nil:
		lie(h.b)
	}
}

func (c *trial) run(t *testing.T) (*commission.Record, error) {
	t.Helper()
	if c.text == "" {
		c.text = usual
	}
	parsed := func(changes ...func(*config.Config)) *config.Config {
		cfg, err := config.Parse("walk.yaml", []byte(c.text))
		if err != nil {
			t.Fatal(err)
		}
		for _, change := range changes {
			if change != nil {
				change(cfg)
			}
		}
		return cfg
	}
	c.cfg = parsed(c.change)
	c.b = newBench(t, c.cfg, parsed(c.change, c.wired))
	if c.spoil != nil {
		c.spoil(c.b)
	}
	rec, err := commission.Walk(t.Context(), c.options(t))
	if c.b.truth.Truth().Ordered && c.b.openFails == nil {
		t.Error("the relay is ordered closed after the walk")
	}
	return rec, err
}

func (c *trial) options(t *testing.T) commission.Options {
	t.Helper()
	setups, err := c.cfg.Setups()
	if err != nil {
		t.Fatal(err)
	}
	pack, err := c.cfg.PackNamed(c.cfg.Bays[0].Serves()[0])
	if err != nil {
		t.Fatal(err)
	}
	voice := words.New(c.voice, "")
	person := walktest.NewPersonIn(t, voice, c.answer...)
	c.said = person.Said
	return commission.Options{
		Bay: &c.cfg.Bays[0], Pack: pack, Setup: setups[0], Rig: c.b, Hand: hand{walk.HandAt(c.b.truth), c},
		Core: func(fanSeenOff bool) *bay.Bay {
			setups[0].Fan.SeenOff = fanSeenOff
			core := bay.New(setups[0])
			if c.held {
				core.Doubt(bay.MemoryUnreadable, "")
			}
			return core
		},
		Console: &commission.Console{Voice: voice, Out: person, Lines: person.Lines},
		Stamp: func() commission.Stamp {
			return commission.Stamp{Wall: time.Unix(1e9, 0).UTC().Add(c.b.Now()), Trusted: true, BootID: "boot", MonoS: c.b.Now().Seconds()}
		},
		Keep: func(r *commission.Record) error {
			kept := *r
			kept.Steps = append([]commission.Step(nil), r.Steps...)
			c.kept = &kept
			return nil
		},
		Program: "test", ID: "walk-1", Resume: c.resume,
	}
}

// usual is one simulated bay with every part.
const usual = `site: quarry-road
agent: shed-9
sensors: simulated
bays:
  - {name: bay-1, pack: lift-a}
packs:
  - {name: lift-a, cells: 12, capacity_ah: 225, full_gravity: 1.277, charge_level_mm: 3, fill_mark_mm: 13, vent_well_mm: 22, free_surface_cm2: 130, electrolyte_ml: 1350}
limits: {settle_seconds: 5, off_min_seconds: 5}
`

func stepOf(t *testing.T, r *commission.Record, key string) commission.Step {
	t.Helper()
	for _, s := range r.Steps {
		if s.Key == key {
			return s
		}
	}
	t.Fatalf("no step %q on record:\n%s", key, r.Text(words.EnglishSI()))
	return commission.Step{}
}
