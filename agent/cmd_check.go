package main

import (
	"context"
	"errors"
	"time"

	"bayward/agent/bay"
	"bayward/agent/check"
	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/restore"
	"bayward/agent/usage"
	"bayward/agent/web"
)

type checkCmd struct {
	Config string `type:"path" placeholder:"FILE" help:"Configuration to read."`
	JSON   bool   `name:"json" help:"Print the effective configuration, defaults included, with the warnings, as JSON."`
	Strict bool   `help:"Count warnings as failures: exit code 1."`
	Schema bool   `help:"Print the JSON Schema of a configuration, for editors, and exit."`
}

// Help is the long text of --help.
func (checkCmd) Help() string {
	return `Every complaint names the file, the line, the field, the value and what is accepted. ` +
		`For a good file it describes what would be monitored and by what, what blocks a charge and by which limits, ` +
		`and warns of what is accepted but unwise, with the figure and its source. No hardware is touched and nothing is written, ` +
		`so it can be used on any machine; only parts that are not there can keep such a file from running.

Exit codes: 0 the file is good, 1 it has warnings and --strict was given, 2 it is refused.`
}

// Run reads the file and reports on it.
func (c *checkCmd) Run(ctx context.Context, p *program) error {
	if c.Schema {
		_, err := p.stdout.Write(config.Schema())
		return err
	}
	if c.Config == "" {
		return usage.Errorf("missing flags: --config=FILE; see bayward --help")
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return usage.Error(err)
	}
	setups, err := check.Setups(cfg)
	if err != nil {
		return usage.Errorf("%s: %w", c.Config, err)
	}
	v := voiceOf(cfg, c.JSON)
	warnings := cfg.Warnings(v)
	if c.JSON {
		err = check.WriteJSON(p.stdout, cfg, warnings)
	} else {
		report := check.Report{File: c.Config, Config: cfg, Setups: setups, Warnings: warnings, NoRecord: addProofs(ctx, cfg, setups) != nil, Now: time.Now(), Conns: web.MaxConns, ConnsEach: web.MaxConnsEach}
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
