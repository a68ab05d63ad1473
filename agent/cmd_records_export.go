package main

import (
	"context"
	"strings"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
)

type recordsExportCmd struct {
	bookFlags
	rangeFlags
	Table  string `required:"" placeholder:"NAME"`
	Format string `enum:"csv,json" default:"csv"`
}

// Run exports one table.
func (c *recordsExportCmd) Run(ctx context.Context, p *program) error {
	t := records.TableNamed(c.Table)
	if t == nil {
		return wrong("table", c.Table, strings.Join(records.TableNames(), ", "))
	}
	q, err := c.query()
	if err != nil {
		return err
	}
	return c.reading(ctx, func(r *logbook.Reader, _ *config.Config) error {
		if c.Format == "json" {
			return t.WriteJSON(ctx, p.stdout, r, q)
		}
		return t.WriteCSV(ctx, p.stdout, r, q)
	})
}
