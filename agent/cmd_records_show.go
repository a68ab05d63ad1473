package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
)

type recordsShowCmd struct {
	bookFlags
	JSON bool   `name:"json"`
	Kind string `arg:"" enum:"charge,visit,finding,refusal"`
	ID   int64  `arg:"" name:"ID"`
}

// Run shows one row.
func (c *recordsShowCmd) Run(ctx context.Context, p *program) error {
	table := map[string]string{"charge": "charges", "visit": "visits", "finding": "findings", "refusal": "refusals"}[c.Kind]
	return c.reading(ctx, func(r *logbook.Reader, cfg *config.Config) error {
		t := records.TableFor(voiceOf(cfg, c.JSON), time.Local, table)
		row, err := t.Find(ctx, r, c.ID)
		if errors.Is(err, records.ErrNone) {
			return wrong("no-row", c.Kind, c.ID, err, table)
		}
		if err != nil {
			return err
		}
		if c.JSON {
			return t.WriteRowJSON(p.stdout, row)
		}
		if err := t.WriteRow(p.stdout, row); err != nil || c.Kind != "visit" {
			return err
		}
		_, _ = fmt.Fprintln(p.stdout)
		return records.WriteCells(ctx, p.stdout, r, voiceOf(cfg, false), time.Local, c.ID)
	})
}
