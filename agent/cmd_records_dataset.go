package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"bayward/agent/assembly"
	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/usage"
)

type recordsDatasetCmd struct {
	bookFlags
	Bay         []string `required:"" placeholder:"NAME" help:"A bay whose record is given away; say it once for each."`
	Since       string   `placeholder:"WHEN" help:"Only what touches the time from here: RFC 3339, a date, or a span back from now such as 30d or 2y."`
	Until       string   `placeholder:"WHEN" help:"Only what began before."`
	OwnerAgrees bool     `help:"The owner of these bays has agreed that their record becomes public under CC0 1.0."`
	Folder      string   `arg:"" name:"FOLDER" type:"path" help:"A new folder for the dataset."`
}

// Help is the long text of --help.
func (recordsDatasetCmd) Help() string {
	return `No week of a real flooded traction pack with level, gravity and cooling is public. This writes one from bays whose owner gives it away: CSV tables of thinned readings, charges, visits by cell, findings and packs, with a README.md that says what they mean.

It names no site, bay, pack or person, carries no free text, and counts time from the midnight before the first row. Read it before you publish it: what is public under CC0 1.0 cannot be taken back.

With --config it describes the packs; with --logbook alone it has only their numbers.`
}

// Run writes the dataset.
func (c *recordsDatasetCmd) Run(ctx context.Context, p *program) error {
	if !c.OwnerAgrees {
		return usage.Errorf("ask the owner of %s first, then say --owner-agrees: anybody may use the dataset for anything (CC0 1.0), and that cannot be taken back", strings.Join(c.Bay, ", "))
	}
	q, err := (&rangeFlags{Since: c.Since, Until: c.Until}).query()
	if err != nil {
		return err
	}
	return c.reading(ctx, func(r *logbook.Reader, cfg *config.Config) error {
		if err := c.known(ctx, r); err != nil {
			return err
		}
		packs, err := assembly.DatasetPacks(cfg)
		if err != nil {
			return err
		}
		d := records.Dataset{Bays: c.Bay, Packs: packs, Since: q.Since, Until: q.Until}
		if err := d.Write(ctx, r, c.Folder); err != nil {
			return err
		}
		_, err = fmt.Fprintf(p.stdout, "%s: the dataset. Read README.md and the tables before you publish it.\n", c.Folder)
		return err
	})
}

// known refuses a bay that the record does not have, and one that is named twice.
func (c *recordsDatasetCmd) known(ctx context.Context, r *logbook.Reader) error {
	bays, err := r.Bays(ctx)
	if err != nil {
		return err
	}
	for i, name := range c.Bay {
		if !slices.Contains(bays, name) {
			return usage.Errorf("--bay: value %q is not accepted: one of %s", name, strings.Join(bays, ", "))
		}
		if slices.Contains(c.Bay[:i], name) {
			return usage.Errorf("--bay: value %q is given twice", name)
		}
	}
	return nil
}
