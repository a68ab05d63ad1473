package main

import (
	"context"
	"errors"
	"time"

	"bayward/agent/assembly"
	"bayward/agent/bay"
	"bayward/agent/check"
	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/restore"
	"bayward/agent/usage"
	"bayward/agent/web"
)

type checkCmd struct {
	Config string `type:"path" placeholder:"FILE"`
	JSON   bool   `name:"json"`
	Strict bool
	// Elsewhere leaves out what is of this machine.
	Elsewhere bool
	Schema    bool
}

// Run reads the file and reports on it.
func (c *checkCmd) Run(ctx context.Context, p *program) error {
	if c.Schema {
		_, err := p.stdout.Write(config.Schema())
		return err
	}
	if c.Config == "" {
		return wrong("no-config")
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return usage.Error(err)
	}
	setups, err := check.Setups(cfg)
	if err != nil {
		return wrong("in-file", c.Config, err)
	}
	if err := assembly.Refusals(ctx, cfg, c.Elsewhere); err != nil {
		return err
	}
	v := voiceOf(cfg, c.JSON)
	warnings := cfg.Warnings(v)
	if !c.Elsewhere {
		warnings = append(warnings, check.MissingFiles(cfg, v)...)
		warnings = append(warnings, check.EndingCertificates(cfg, v, time.Now())...)
	}
	if c.JSON {
		err = check.WriteJSON(p.stdout, cfg, warnings)
	} else {
		report := check.Report{File: c.Config, Config: cfg, Setups: setups, Warnings: warnings, NoRecord: addProofs(ctx, cfg, setups) != nil, Now: time.Now(), Conns: web.MaxConns, ConnsEach: web.MaxConnsEach, Scheme: web.Scheme(cfg.HTTP.WebConfigFile)}
		err = report.WriteText(p.stdout, v)
	}
	if err == nil && c.Strict && len(warnings) > 0 {
		err = errors.New(v.Say("check.strict", c.Config, float64(len(warnings))))
	}
	return err
}

// addProofs adds what the walks on record have proven of wired sensors.
func addProofs(ctx context.Context, cfg *config.Config, setups []bay.Setup) error {
	if cfg.Sensors == "simulated" {
		return nil
	}
	book, err := logbook.OpenReadOnly(ctx, cfg.Logbook.Path)
	if err != nil {
		return err
	}
	return errors.Join(restore.Proofs(ctx, book, setups), book.Close())
}
