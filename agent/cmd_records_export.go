package main

import (
	"context"
	"strings"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/usage"
)

type recordsExportCmd struct {
	bookFlags
	rangeFlags
	Table  string `required:"" placeholder:"NAME" help:"Which table: packs, charges, visits, cells, corrections, findings, refusals, series, events or orders."`
	Format string `enum:"csv,json" default:"csv" help:"csv or json (${default})."`
}

// Help is the long text of --help.
func (recordsExportCmd) Help() string {
	return `CSV is RFC 4180: UTF-8, one line of names, lines that end with CRLF. JSON is an array with an object on each line. ` +
		`The columns are listed in agent/records/columns.md. Times are RFC 3339 in UTC, each beside a column that says whether the clock had been set.

A text that a spreadsheet could run as a formula gets an apostrophe before it, and so does a part of a text behind a semicolon, tab or line feed, where a spreadsheet may begin a cell; bayward records import takes them away again. ` +
		`The tables cells and charges can be imported into another logbook.`
}

// Run exports one table.
func (c *recordsExportCmd) Run(ctx context.Context, p *program) error {
	t := records.TableNamed(c.Table)
	if t == nil {
		return usage.Errorf("--table: value %q is not accepted: %s", c.Table, strings.Join(records.TableNames(), ", "))
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
