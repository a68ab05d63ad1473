package main

import (
	"cmp"
	"context"
	"errors"
	"time"

	"bayward/agent/assembly"
	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/usage"
)

type recordsReportCmd struct {
	bookFlags
	Pack  string `required:"" placeholder:"NAME" help:"Which pack."`
	Since string `default:"365d" placeholder:"WHEN" help:"From when: RFC 3339, a date, or a span back from now such as 30d or 2y (${default})."`
	Until string `placeholder:"WHEN" help:"Up to when; now, if left out."`
	Paper string `enum:"a4,letter" default:"a4" help:"a4 or letter (${default})."`
	Units string `placeholder:"UNITS" enum:",si,us" default:"" help:"si or us, instead of the configuration's."`
}

// Help is the long text of --help.
func (recordsReportCmd) Help() string {
	return `Prints HTML that needs nothing from elsewhere: open it in a browser and print it, or keep the file. On it: whether the pack was ever charged dry, ` +
		`whether the record is whole, identity and limits, level over time, charges, visits, water and gravity of each cell, refusals and findings.

With --config it knows the pack's size and limits; with --logbook alone they are left out.`
}

// Run prints the report.
func (c *recordsReportCmd) Run(ctx context.Context, p *program) error {
	q, err := (&rangeFlags{Since: c.Since, Until: c.Until}).query()
	if err != nil {
		return err
	}
	return c.reading(ctx, func(r *logbook.Reader, cfg *config.Config) error {
		o := &records.ReportOptions{Pack: c.Pack, Since: q.Since, Until: q.Until, Letter: c.Paper == "letter", Made: time.Now(), Zone: time.Local, Version: version()}
		assembly.Describe(o, cfg)
		o.Units = cmp.Or(c.Units, o.Units)
		err := records.WriteReport(ctx, p.stdout, r, o)
		if errors.Is(err, records.ErrNoPack) {
			return usage.Errorf("--pack: value %q is not accepted: %w", c.Pack, err)
		}
		return err
	})
}
