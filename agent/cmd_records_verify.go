package main

import (
	"context"
	"fmt"
	"strings"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
)

type recordsVerifyCmd struct {
	bookFlags
	JSON bool `name:"json" help:"Print JSON."`
}

// Help is the long text of --help.
func (recordsVerifyCmd) Help() string {
	return `Every closed charge and visit, every correction and every signed commissioning record carries a hash over itself and the one before it. Whoever changes, inserts or removes one later breaks the chain. ` +
		`The hash of the last link covers the whole record. Note it elsewhere, such as on a printed report, and it proves later that nothing before it was rewritten.

It also checks the memories from which the agent continues after a restart. A bay whose memory does not match its checksum is on hold at the next start.

Exit code 1: the chain is broken, or a memory is damaged.`
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
			return fmt.Errorf("the chain is broken: %s", chain.Break)
		case len(damaged) > 0:
			return fmt.Errorf("the memory is damaged of %s", strings.Join(damaged, ", "))
		}
		return nil
	})
}
