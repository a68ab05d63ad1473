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
)

type recordsDatasetCmd struct {
	bookFlags
	Bay         []string `required:"" placeholder:"NAME"`
	Since       string   `placeholder:"WHEN"`
	Until       string   `placeholder:"WHEN"`
	OwnerAgrees bool
	Folder      string `arg:"" name:"FOLDER" type:"path"`
}

// Run writes the dataset.
func (c *recordsDatasetCmd) Run(ctx context.Context, p *program) error {
	if !c.OwnerAgrees {
		return wrong("owner", strings.Join(c.Bay, ", "))
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
		_, err = fmt.Fprintln(p.stdout, p.voice.Say("usage.dataset", c.Folder))
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
			return wrong("bay-one-of", name, strings.Join(bays, ", "))
		}
		if slices.Contains(c.Bay[:i], name) {
			return wrong("bay-twice", name)
		}
	}
	return nil
}
