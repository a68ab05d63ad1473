package main

import (
	"context"
	"strings"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
)

type recordsVerifyCmd struct {
	bookFlags
	JSON bool `name:"json"`
}

// Run verifies the chain.
func (c *recordsVerifyCmd) Run(ctx context.Context, p *program) error {
	return c.reading(ctx, func(r *logbook.Reader, cfg *config.Config) error {
		chain, err := r.Verify(ctx)
		if err != nil {
			return err
		}
		damaged, err := r.DamagedMemories(ctx)
		if err != nil {
			return err
		}
		if err := records.WriteVerdict(p.stdout, voiceOf(cfg, c.JSON), chain, damaged, c.JSON); err != nil {
			return err
		}
		switch {
		case chain.Break != nil:
			return failed("chain-broken", records.BrokenAt(chain.Break))
		case len(damaged) > 0:
			return failed("memory-damaged", strings.Join(damaged, ", "))
		}
		return nil
	})
}
