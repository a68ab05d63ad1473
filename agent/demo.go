package main

import (
	"cmp"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/agent/logwriter"
	"bayward/agent/loop"
	"bayward/agent/usage"
	"bayward/agent/words"
	"bayward/mqtt/broker"
	"bayward/sensors/sim"
)

//go:embed demo.yaml
var demoConfig []byte

type demoCmd struct {
	Speed   float64       `default:"600" help:"Simulated seconds in a second, 1 to 3600."`
	Listen  string        `default:"127.0.0.1:8080" placeholder:"HOST:PORT" help:"Address of page and metrics; port 0 takes a free one (${default})."`
	Broker  string        `default:"127.0.0.1:1883" placeholder:"HOST:PORT" help:"Address of the broker in the program; port 0 takes a free one (${default})."`
	For     time.Duration `help:"End after this much real time; 0 runs until an interrupt."`
	Logbook string        `type:"path" placeholder:"FILE" help:"Keep the record in this new file, for bayward records; otherwise it is thrown away."`
	Bays    int           `default:"4" help:"How many bays, 1 to 1000; many are for load, best with --speed 1 (${default})."`
	ByHand  bool          `help:"Leave the technician's work to you, on the page."`
}

// Help is the long text of --help.
func (demoCmd) Help() string {
	return `Four simulated bays run through the real drivers, the real core and all outputs, with an MQTT broker inside the program. ` +
		`One pack arrives with bare plates and one bay's level probe is broken, so both are refused their charge; the others are further on. ` +
		`A simulated technician covers plates, mends the probe and waters the packs; after a rest the machines go to work and come back. ` +
		`Everything is invented, and nothing is kept, unless --logbook names a file for the record.`
}

const (
	minSpeed, maxSpeed = 1, 3600
	demoTick           = time.Second // simulated
	demoGuard          = 3 * time.Second
	mostDemoBays       = 1000
)

// Run shows the round.
func (c *demoCmd) Run(ctx context.Context, p *program) (err error) {
	if !(c.Speed >= minSpeed && c.Speed <= maxSpeed) {
		return usage.Errorf("--speed: value %v is not accepted: %d to %d", c.Speed, minSpeed, maxSpeed)
	}
	if c.Bays < 1 || c.Bays > mostDemoBays {
		return usage.Errorf("--bays: value %d is not accepted: 1 to %d", c.Bays, mostDemoBays)
	}
	if _, err := os.Lstat(c.Logbook); err == nil {
		return usage.Errorf("--logbook: %s is there already; accepted: a new file, since the demo must not write to a real record", c.Logbook)
	}
	if c.For > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, c.For)
		defer cancel()
	}
	dir, err := os.MkdirTemp("", "bayward-demo-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	outliveReaders()
	out := logwriter.New(p.stderr)
	defer out.Close()
	log := slog.New(slog.NewTextHandler(out, &slog.HandlerOptions{Level: slog.LevelWarn}))
	d, err := c.build(ctx, p, log, dir)
	if err != nil {
		return err
	}
	return d.run(ctx, c.Speed)
}

// demo is the agent on simulated bays whose clock it drives itself.
type demo struct {
	*agent
	bench  *sim.Bench
	bays   map[string]*sim.Bay
	broker *broker.Broker
	person *technician // nil: by hand
}

func (c *demoCmd) build(ctx context.Context, p *program, log *slog.Logger, dir string) (*demo, error) {
	cfg, err := config.Parse("demo.yaml", demoConfig)
	if err != nil {
		return nil, fmt.Errorf("bug: %w", err)
	}
	d := &demo{}
	starts := crowd(cfg, c.Bays)
	d.broker, err = broker.Start(ctx, broker.Options{Listen: c.Broker, Agents: []string{demoClient}, Log: log})
	if errors.Is(err, broker.ErrTaken) {
		return nil, fmt.Errorf("%w with --broker HOST:PORT (port 0 takes a free one)", err)
	}
	if err != nil {
		return nil, usage.Error(err)
	}
	cfg.HTTP.Listen = c.Listen
	cfg.Logbook.Path = cmp.Or(c.Logbook, filepath.Join(dir, "logbook.db"))
	cfg.MQTT = &config.MQTT{Broker: d.broker.URL(), ClientID: demoClient}
	if d.bench, d.bays, err = hardware.Simulate(cfg, starts); err == nil {
		if broken := d.bays["bay-3"]; broken != nil {
			broken.SetFault(sim.ProbeOpen, true)
		}
		d.agent, err = assemble(ctx, d.parts(cfg, log, p))
	}
	if err != nil {
		return nil, errors.Join(err, d.broker.Close())
	}
	if !c.ByHand {
		d.person = newTechnician(d.submit, d.loop.Pictures, d.bays)
	}
	d.greet(p, c)
	return d, nil
}

// demoClient is the one client that may publish in the demo's broker.
const demoClient = "bayward-demo"

func (d *demo) parts(cfg *config.Config, log *slog.Logger, p *program) parts {
	start := time.Now()
	return parts{
		cfg: cfg, log: log, hw: hardware.OfBench(d.bench),
		wall:      func() (time.Time, bool) { return start.Add(d.bench.Now()), true },
		orderWall: func() (time.Time, bool) { return time.Now(), true }, // people live in real time
		bootID:    "demo", mono: d.bench.Now,
		gap:   func(logbook.Stamp) (time.Duration, bool) { return 0, false },
		every: demoTick, guardAfter: demoGuard,
		patience:   func(loop.Source) time.Duration { return demoGuard }, // simulated parts answer at once
		outputs:    []loop.Output{newPrinter(p.stdout)},
		wrapSubmit: d.pour, invented: true,
	}
}

// pour lets the water of a fill order run into the simulated cell, and mends
// a broken probe when a visit is closed, whoever did it.
func (d *demo) pour(next submit) submit {
	return func(ctx context.Context, bayName string, o bay.Order) (bay.Event, error) {
		e, err := next(ctx, bayName, o)
		y := d.bays[bayName]
		if err != nil || y == nil || e.Kind != bay.OrderTaken {
			return e, err
		}
		switch o.Kind {
		case bay.OrderFill:
			err = y.AddWater(o.Cell, o.ML)
		case bay.OrderVisitClose:
			y.SetFault(sim.ProbeOpen, false)
		default:
		}
		return e, err
	}
}

func (d *demo) greet(p *program, c *demoCmd) {
	who := "A simulated technician answers the notices."
	if c.ByHand {
		who = "You are the technician: open a visit on the page."
	}
	kept := ""
	if c.Logbook != "" {
		kept = "   (kept in " + c.Logbook + ")"
	}
	many := "one invented bay"
	if n := len(d.cfg.Bays); n > 1 {
		many = fmt.Sprintf("%d invented bays", n)
	}
	_, _ = fmt.Fprintf(p.stdout, `bayward demo: %[8]s, %.0[1]f times faster than life. %[2]s
  page     http://%[3]s/
  metrics  http://%[3]s/metrics
  record   http://%[3]s/records%[6]s
  broker   %[4]s   (mosquitto_sub -p %[5]s -t 'bayward/#' -v)
%[7]s

`, c.Speed, who, d.listener.Addr(), d.broker.URL(), port(d.broker.Addr()), kept, words.EnglishSI().Cautions(), many)
}

// run drives the simulated clock: it advances the physics by a tick, then runs
// the tick, as often as the real time asks for.
func (d *demo) run(ctx context.Context, speed float64) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	g, ctx := errgroup.WithContext(ctx)
	d.loop.Start(ctx)
	if err := d.serve(ctx, g); err != nil {
		cancel()
		return errors.Join(err, g.Wait(), d.close(), d.broker.Close())
	}
	if d.person != nil {
		g.Go(func() error { return d.person.work(ctx) })
	}
	g.Go(func() error {
		defer cancel()
		return d.pace(ctx, speed)
	})
	err := g.Wait()
	return errors.Join(err, d.close(), d.broker.Close())
}

// pace falls behind rather than skip a tick when the machine is too slow.
func (d *demo) pace(ctx context.Context, speed float64) error {
	const look = 10 * time.Millisecond
	t := time.NewTicker(look)
	defer t.Stop()
	last, owed := time.Now(), demoTick.Seconds()
	for {
		for ; owed >= demoTick.Seconds() && ctx.Err() == nil; owed -= demoTick.Seconds() {
			d.bench.Advance(demoTick)
			if err := d.loop.Tick(ctx); err != nil {
				return err
			}
			if time.Since(last) > look {
				owed = demoTick.Seconds()
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case now := <-t.C:
			owed += now.Sub(last).Seconds() * speed
			last = now
		}
	}
}

// demoStarts puts the bays at different points of the round.
func demoStarts() map[string]sim.Opts {
	return map[string]sim.Opts{
		"bay-1": {StateOfCharge: 0.40, LevelMM: -5, PackC: 27, Charger: sim.TwoStage, Connected: true},
		"bay-2": {StateOfCharge: 0.85, LevelMM: 8, PackC: 30, Charger: sim.TwoStage, Connected: true},
		"bay-3": {StateOfCharge: 0.55, LevelMM: 9, PackC: 26, Charger: sim.Taper, Connected: true},
		"bay-4": {StateOfCharge: 0.97, LevelMM: 5, PackC: 38, Charger: sim.TwoStage, Connected: true},
	}
}

// crowd makes the demo's configuration one of n bays, and says where each pack
// begins: the further ones are like the four of the file, a little apart from each
// other. An agent's own configuration has no more than config.MaxBays: so many
// are for load.
func crowd(cfg *config.Config, n int) map[string]sim.Opts {
	first := demoStarts()
	four := len(cfg.Bays)
	starts := map[string]sim.Opts{}
	for i := range n {
		b := &cfg.Bays[i%four]
		start := first[b.Name]
		if i >= four {
			round := i / four
			p := cfg.Packs[i%four]
			p.Name = fmt.Sprintf("lift-%d", i+1)
			start.StateOfCharge = max(0.2, start.StateOfCharge-0.01*float64(round%20))
			start.PackC += 0.1 * float64(round%30)
			cfg.Packs = append(cfg.Packs, p)
			cfg.Bays = append(cfg.Bays, config.Bay{Name: fmt.Sprintf("bay-%d", i+1), Pack: p.Name, Wiring: config.DefaultWiring(i, p)})
			b = &cfg.Bays[i]
		}
		starts[b.Name] = start
	}
	cfg.Bays, cfg.Packs = cfg.Bays[:n], cfg.Packs[:n]
	return starts
}
