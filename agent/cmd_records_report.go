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
)

type recordsReportCmd struct {
	bookFlags
	Pack  string `required:"" placeholder:"NAME"`
	Since string `default:"365d" placeholder:"WHEN"`
	Until string `placeholder:"WHEN"`
	Paper string `enum:"a4,letter" default:"a4"`
	Units string `placeholder:"UNITS" enum:",si,us" default:""`
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
			return wrong("pack", c.Pack, err)
		}
		return err
	})
}
