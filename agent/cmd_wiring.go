package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"bayward/agent/config"
	"bayward/agent/usage"
	"bayward/agent/walk"
)

type wiringCmd struct {
	Config   string  `required:"" type:"path" placeholder:"FILE" help:"Configuration of the bays."`
	Bay      string  `placeholder:"NAME" help:"Bay to walk through; may be left out when there is only one."`
	Fragment string  `type:"path" placeholder:"FILE" help:"Write the calibration there as YAML, a new file; otherwise it is printed at the end."`
	Resume   bool    `help:"Continue the last walk of this bay that was not finished; what it has proven is not asked for again."`
	Last     bool    `help:"Print the newest commissioning record of the bay and exit."`
	JSON     bool    `name:"json" help:"With --last: print it as JSON."`
	First    string  `name:"first-hardware" type:"path" placeholder:"FILE" help:"Write what the newest signed walk of the bay has measured beside what the simulator assumes, as a row for the README's table of real bays, to a new file, and exit."`
	Keeper   string  `type:"path" placeholder:"PATH" help:"Socket of bayward-keeper, which drives the relay, instead of /run/bayward-keeper/socket."`
	Speed    float64 `default:"1" placeholder:"N" help:"With simulated sensors: how many times faster than life, 1 to 1000."`
}

// Help is the long text of --help.
func (wiringCmd) Help() string {
	return `Walks a technician through a bay before it goes to work: shows each sensor live, asks for one thing at a time ` +
		`(pull the plug, lift the probe, open and replace it at the box, warm the sensor) and proves that the reading follows; compares voltage, current, ` +
		`temperature and level with hand instruments; then proves that the relay obeys, that the watchdog relay opens without heartbeat, ` +
		`that the relay opens when the program dies, and that a charge's current ends with it.

The charger's supply must be locked off for all of it but the last step, a charge of seconds. The relay is closed for seconds only, with your word that the charger is off, ` +
		`while the core that guards the bay would grant a charge, and under a watch that opens it at once. Stop the agent first (systemctl stop bayward).

The record goes to the logbook, step by step and signed at the end; the calibration is printed, or written to --fragment, and never put ` +
		`into your configuration. Interrupted at any point (Ctrl-C, a lost connection), the relay is open and what was proven is kept (--resume). Ctrl-Z does nothing: ` +
		`it would leave the relay as it is.

With "sensors: simulated" it is for learning: the simulator does what is asked. The guide is deploy/wiring.md.

Work on mains is for a licensed electrician. bayward is not a certified safety device.`
}

// Run walks a person through a bay.
func (c *wiringCmd) Run(ctx context.Context, p *program) error {
	o, err := c.options(p)
	if err != nil {
		return usage.Error(err)
	}
	if c.Last {
		return walk.WriteLast(ctx, p.stdout, o.Config.Logbook.Path, o.Bay.Name, o.Voice, c.JSON)
	}
	if c.First != "" {
		return walk.WriteFirst(ctx, o, c.First, os.DirFS("/"))
	}
	outliveReaders()
	outliveKeys()
	return walk.Run(ctx, o)
}

func (c *wiringCmd) options(p *program) (*walk.Options, error) {
	if !(c.Speed >= 1 && c.Speed <= 1000) {
		return nil, fmt.Errorf("--speed %g is not accepted: must be 1 to 1000", c.Speed)
	}
	if c.JSON && !c.Last {
		return nil, errors.New("--json needs --last: a walk is for a person")
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return nil, err
	}
	if c.Speed != 1 && cfg.Sensors != "simulated" {
		return nil, fmt.Errorf("--speed %g is for simulated sensors only", c.Speed)
	}
	b, pack, err := walk.Choose(cfg, c.Bay)
	if err != nil {
		return nil, err
	}
	return &walk.Options{
		Config: cfg, ConfigPath: c.Config, Bay: b, Pack: pack, Fragment: c.Fragment, Resume: c.Resume, Keeper: c.Keeper, Speed: c.Speed, Version: version(),
		Voice: voiceOf(cfg, false),
		In:    p.stdin, Out: p.stdout, Complaints: p.stderr,
	}, nil
}

// wiringHoldCmd is the process that the walk kills while it holds the relay.
type wiringHoldCmd struct {
	Config string `required:"" type:"path"`
	Bay    string `required:""`
	Keeper string
}

// Run holds the relay closed.
func (c *wiringHoldCmd) Run(ctx context.Context, p *program) error {
	cfg, err := config.Load(c.Config)
	if err != nil {
		return usage.Error(err)
	}
	return walk.Hold(ctx, cfg, c.Bay, c.Keeper, p.stdin, p.stdout)
}
