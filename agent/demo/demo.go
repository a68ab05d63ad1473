// Package demo runs a charging site with invented bays, faster than real time.
package demo

import (
	"cmp"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"bayward/agent/assembly"
	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/hardware"
	"bayward/agent/logbook"
	"bayward/agent/logwriter"
	"bayward/agent/loop"
	"bayward/agent/order"
	"bayward/agent/usage"
	"bayward/agent/words"
	"bayward/mqtt/broker"
	"bayward/sensors/level"
	"bayward/sensors/sim"
	"bayward/sensors/wiring"
)

//go:embed demo.yaml
var siteConfig []byte

// Options are what a user may choose.
type Options struct {
	Speed   float64 // simulated seconds per second, 1 to 3600
	Listen  string  // HOST:PORT of page and metrics; port 0 takes a free one
	Broker  string  // HOST:PORT of the broker inside the program; port 0 takes a free one
	Logbook string  // a new file for the record; "" discards it
	Bays    int     // of each agent, 1 to 1000
	Agents  int     // of the yard, 1 to 8; 0 means 1
	ByHand  bool    // leave the technician's work to the user at the page
	Version string  // of the program
}

const (
	minSpeed, maxSpeed = 1, 3600
	tick               = time.Second // simulated
	guard              = 3 * time.Second
	maxBays            = 1000
	maxAgents          = 8
)

// check names the flag that has an invalid value.
func (o *Options) check() error {
	if !(o.Speed >= minSpeed && o.Speed <= maxSpeed) {
		return usage.Errorf("--speed: value %v is not accepted: %d to %d", o.Speed, minSpeed, maxSpeed)
	}
	if o.Bays < 1 || o.Bays > maxBays {
		return usage.Errorf("--bays: value %d is not accepted: 1 to %d", o.Bays, maxBays)
	}
	if o.Agents < 0 || o.Agents > maxAgents {
		return usage.Errorf("--agents: value %d is not accepted: 1 to %d", o.Agents, maxAgents)
	}
	for i := range max(o.Agents, 1) {
		if file := o.logbook(i); file != "" {
			if _, err := os.Lstat(file); err == nil {
				return usage.Errorf("--logbook: %s is there already; accepted: a new file, since the demo must not write to a real record", file)
			}
		}
	}
	return nil
}

// Run runs the demo until ctx ends. It writes events to out, line by line, and
// errors to complaints.
func Run(ctx context.Context, o *Options, out, complaints io.Writer) (err error) {
	if err := o.check(); err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "bayward-demo-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	writer := logwriter.New(complaints)
	defer writer.Close()
	log := slog.New(slog.NewTextHandler(writer, &slog.HandlerOptions{Level: slog.LevelWarn}))
	d, err := build(ctx, o, out, log, dir)
	if err != nil {
		return err
	}
	return d.run(ctx, o.Speed)
}

// demoAgent is an agent on simulated bays whose clock it drives itself.
type demoAgent struct {
	*assembly.Agent
	bench  *sim.Bench
	keeper *hardware.Keeper
	bays   map[string]*sim.Stand
	person *technician // nil: the user does the work
}

// build creates the demo. Files that are discarded at the end go to dir.
func build(ctx context.Context, o *Options, out io.Writer, log *slog.Logger, dir string) (*demo, error) {
	n := max(o.Agents, 1)
	clients := make([]string, n)
	for i := range clients {
		clients[i] = client + "-" + agentName(i)
	}
	var err error
	d := &demo{}
	d.broker, err = broker.Start(ctx, broker.Options{Listen: o.Broker, Agents: clients, Log: log})
	if errors.Is(err, broker.ErrTaken) {
		return nil, fmt.Errorf("%w with --broker HOST:PORT (port 0 takes a free one)", err)
	}
	if err != nil {
		return nil, usage.Error(err)
	}
	if n > 1 {
		out = &oneAtATime{w: out}
	}
	for i := range n {
		cfg, begin, err := siteOf(o.Bays, i)
		if err != nil {
			return nil, errors.Join(err, d.close())
		}
		cfg.HTTP.Listen = o.listen(i)
		cfg.Logbook.Path = cmp.Or(o.logbook(i), filepath.Join(dir, agentName(i)+".db"))
		cfg.MQTT = &config.MQTT{Broker: d.broker.URL(), ClientID: clients[i]}
		one, err := newAgent(ctx, cfg, begin, o, out, log)
		if err != nil {
			return nil, errors.Join(err, d.close())
		}
		if i == 0 {
			d.demoAgent = one
		} else {
			d.others = append(d.others, one)
		}
	}
	d.greet(out, o)
	return d, nil
}

func newAgent(ctx context.Context, cfg *config.Config, begin map[string]sim.Opts, o *Options, out io.Writer, log *slog.Logger) (*demoAgent, error) {
	var err error
	d := &demoAgent{}
	if d.bench, d.bays, err = hardware.Simulate(cfg, begin); err != nil {
		return nil, err
	}
	if broken := d.bays["bay-3"]; broken != nil {
		broken.SetFault(sim.ProbeOpen, true)
	}
	if d.keeper, err = hardware.KeepHere(cfg, d.bench, d.bench.Now); err != nil {
		return nil, err
	}
	if d.Agent, err = assembly.New(ctx, d.parts(cfg, log, out, o.Version)); err != nil {
		return nil, err
	}
	if !o.ByHand {
		d.person = newTechnician(d.Submit, d.Loop.Pictures, d.bays)
	}
	return d, nil
}

// Site returns the configuration of the invented yard with 1 to 1000 bays, and how each
// of them begins.
func Site(bays int) (*config.Config, map[string]sim.Opts, error) {
	cfg, err := config.Parse("demo.yaml", siteConfig)
	if err != nil {
		return nil, nil, fmt.Errorf("bug: %w", err)
	}
	withRods(cfg)
	return cfg, resize(cfg, bays), nil
}

// client begins the names of the only clients that may publish on the demo's broker.
const client = "bayward-demo"

func (d *demoAgent) parts(cfg *config.Config, log *slog.Logger, out io.Writer, version string) assembly.Parts {
	start := time.Now()
	return assembly.Parts{
		Config: cfg, Log: log, Hardware: hardware.OfBench(d.bench), Keeper: d.keeper, Version: version,
		Wall:      func() (time.Time, bool) { return start.Add(d.bench.Now()), true },
		OrderWall: func() (time.Time, bool) { return time.Now(), true }, // users live in real time
		BootID:    "demo", Mono: d.bench.Now,
		Gap:   func(logbook.Stamp) (time.Duration, bool) { return 0, false },
		Every: tick, GuardAfter: guard,
		Patience:   func(loop.Source) time.Duration { return guard }, // simulated parts answer at once
		Outputs:    []loop.Output{newPrinter(out, words.New(cfg.Language, cfg.Units))},
		WrapSubmit: d.pour, Invented: true,
	}
}

// pour gives the simulated cells what an order records of them, and repairs a broken
// probe when a visit is closed, by the technician or by the user. In the demo the
// record is what happened, so a correction changes the cell too.
func (d *demoAgent) pour(next assembly.Submit) assembly.Submit {
	return func(ctx context.Context, bayName string, o order.Order) (bay.Event, error) {
		e, err := next(ctx, bayName, o)
		y := d.bays[bayName]
		inForce := err == nil || errors.Is(err, order.ErrNotOnRecord)
		if !inForce || y == nil || e.Kind != bay.OrderTaken {
			return e, err
		}
		if o.Kind == order.VisitClose {
			y.SetFault(sim.ProbeOpen, false)
		}
		return e, errors.Join(err, change(y, &e))
	}
}

// change changes the cells of a bay by what an order that was taken gave them.
func change(y *sim.Stand, e *bay.Event) (err error) {
	for _, c := range e.Asked.Entries() { // with what was worked out
		err = errors.Join(err, move(y, c.Cell, valueOf(c.ML)-valueOf(c.DrawnML)))
	}
	if e.Asked.Kind != order.Correct {
		return err
	}
	switch by := valueOf(e.Asked.Value) - valueOf(e.Old); e.Asked.Field {
	case order.MLField.Name:
		err = move(y, e.Asked.Cell, by)
	case order.DrawnField.Name:
		err = move(y, e.Asked.Cell, -by)
	}
	return err
}

// move adds millilitres to a cell; less than 0 takes them out.
func move(y *sim.Stand, cell int, ml float64) error {
	if ml < 0 {
		return y.Leak(cell, -ml)
	}
	return y.AddWater(cell, ml)
}

func valueOf(ml *float64) float64 {
	if ml == nil {
		return 0
	}
	return *ml
}

func (d *demo) greet(out io.Writer, o *Options) {
	who := "A simulated technician answers the notices."
	if o.ByHand {
		who = "You are the technician: open a visit on the page."
	}
	kept := ""
	if o.Logbook != "" {
		kept = "   (kept in " + o.Logbook + ")"
	}
	many, others := "one invented bay", ""
	if n := len(d.Config.Bays); n > 1 {
		many = fmt.Sprintf("%d invented bays", n)
	}
	for _, one := range d.others {
		others += fmt.Sprintf("  page     http://%s/   of agent %s\n", one.Address(), one.Config.Agent)
	}
	if len(d.others) > 0 {
		many += fmt.Sprintf(" at each of %d agents", 1+len(d.others))
	}
	_, _ = fmt.Fprintf(out, `bayward demo: %[8]s, %.0[1]f times faster than life. %[2]s
  page     http://%[3]s/
  metrics  http://%[3]s/metrics
  record   http://%[3]s/records%[6]s
  broker   %[4]s   (mosquitto_sub -p %[5]s -t 'bayward/#' -v)
%[10]s%[9]s%[7]s

`, o.Speed, who, d.Address(), d.broker.URL(), port(d.broker.Addr()), kept, words.EnglishSI().Cautions(), many, d.openTo(), others)
}

// openTo says that the page is open to the network, "" if it is not. The broker never
// is.
func (d *demo) openTo() string {
	if !d.OpenToAnybody() {
		return ""
	}
	return "CAUTION: the page can be reached over the network, and anybody there can give orders to these invented bays.\n"
}

// begin drives the simulated clock: it advances the physics by a tick, then runs
// the tick, as often as real time requires.
func (d *demoAgent) begin(ctx context.Context, g *errgroup.Group, speed float64, ended func()) error {
	d.Loop.Start(ctx)
	if err := d.Serve(ctx, g); err != nil {
		return err
	}
	if d.person != nil {
		g.Go(func() error { return d.person.work(ctx) })
	}
	g.Go(func() error {
		defer ended()
		return d.pace(ctx, speed)
	})
	return nil
}

// pace falls behind rather than skip a tick if the machine is too slow.
func (d *demoAgent) pace(ctx context.Context, speed float64) error {
	const look = 10 * time.Millisecond
	t := time.NewTicker(look)
	defer t.Stop()
	last, owed := time.Now(), tick.Seconds()
	for {
		for ; owed >= tick.Seconds() && ctx.Err() == nil; owed -= tick.Seconds() {
			d.bench.Advance(tick)
			if err := d.Loop.Tick(ctx); err != nil {
				return err
			}
			if time.Since(last) > look {
				owed = tick.Seconds()
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

// starts puts the bays at different points of the round.
func starts() map[string]sim.Opts {
	return map[string]sim.Opts{
		"bay-1": {StateOfCharge: 0.40, LevelMM: -5, PackC: 27, Charger: sim.TwoStage, Connected: true},
		"bay-2": {StateOfCharge: 0.85, LevelMM: 8, PackC: 30, Charger: sim.TwoStage, Connected: true},
		"bay-3": {StateOfCharge: 0.55, LevelMM: 9, PackC: 26, Charger: sim.Taper, Connected: true},
		"bay-4": {StateOfCharge: 0.97, LevelMM: 5, PackC: 38, Charger: sim.TwoStage, Connected: true},
	}
}

// withRods gives the third bay a ladder, which is read by test pulses; the others have
// transmitters. Its rods are the example's.
func withRods(cfg *config.Config) {
	cfg.Bays[2].Wiring.Level = &wiring.Level{
		Input: wiring.Input{ADC: 0x49, RangeV: 4.096}, Kind: level.Ladder, Expander: 0x20,
		Settings: level.Settings{ReferenceOhm: 10e3, EndOhm: 100e3, Rods: []level.Rod{
			{HeightMM: -5, SeriesOhm: 33e3}, {HeightMM: 4, SeriesOhm: 22e3}, {HeightMM: 13, SeriesOhm: 15e3},
		}},
	}
}

// resize gives the demo's configuration n bays and returns how each begins. The
// additional ones are like the four in the file, with small differences. More
// than config.MaxBays, the limit of a real agent, is for load tests.
func resize(cfg *config.Config, n int) map[string]sim.Opts {
	first := starts()
	four := len(cfg.Bays)
	begin := map[string]sim.Opts{}
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
		begin[b.Name] = start
	}
	cfg.Bays, cfg.Packs = cfg.Bays[:n], cfg.Packs[:n]
	return begin
}
