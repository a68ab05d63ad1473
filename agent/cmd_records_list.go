package main

import (
	"context"
	"fmt"
	"time"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
)

type recordsListCmd struct {
	bookFlags
	rangeFlags
	Kind string `enum:"packs,charges,visits,corrections,findings,refusals,events" default:"packs"`
	JSON bool   `name:"json"`
}

// Run lists.
func (c *recordsListCmd) Run(ctx context.Context, p *program) error {
	q, err := c.query()
	if err != nil {
		return err
	}
	return c.reading(ctx, func(r *logbook.Reader, cfg *config.Config) error {
		t := records.TableFor(voiceOf(cfg, c.JSON), time.Local, c.Kind)
		if c.JSON {
			return t.WriteJSON(ctx, p.stdout, r, q)
		}
		n, err := t.WriteList(ctx, p.stdout, r, q)
		if err == nil && n == 0 {
			_, err = fmt.Fprintln(p.stderr, voiceOf(cfg, false).Say("records.none", c.Kind))
		}
		return err
	})
}
