package main

import (
	"context"
	"os"

	"bayward/agent/config"
	"bayward/agent/usage"
	"bayward/agent/walk"
)

type wiringCmd struct {
	Config   string `required:"" type:"path" placeholder:"FILE"`
	Bay      string `placeholder:"NAME"`
	Fragment string `type:"path" placeholder:"FILE"`
	Resume   bool
	Last     bool
	JSON     bool    `name:"json"`
	First    string  `name:"first-hardware" type:"path" placeholder:"FILE"`
	Keeper   string  `type:"path" placeholder:"PATH"`
	Speed    float64 `default:"1" placeholder:"N"`
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
		return nil, wrong("speed", c.Speed)
	}
	if c.JSON && !c.Last {
		return nil, wrong("json-last")
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return nil, err
	}
	if c.Speed != 1 && cfg.Sensors != "simulated" {
		return nil, wrong("speed-simulated", c.Speed)
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
