package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/usage"
	"bayward/agent/words"
)

type recordsImportCmd struct {
	bookFlags
	Write bool   `help:"Write it. Without this nothing is written, only checked."`
	File  string `arg:"" name:"FILE.csv" type:"path" help:"Hand-kept history."`
}

// Help is the long text of --help.
func (recordsImportCmd) Help() string {
	return `Takes in visits (a line for each cell, recognised by the column cell) or charges (recognised by the column in_ah). testdata/records has an example of each; ` +
		`the columns are those of the tables cells and charges in agent/records/columns.md, in any order; bay, pack and start are needed, the rest may be left out. ` +
		`UTF-8 with or without a byte order mark; commas, or semicolons, then decimals may have a comma. Times without a zone are local.

Nothing is written without --write, and then all of the file or nothing. A row that the record has already (same bay, pack and start) is left out, so a file that has grown can be imported again; one that says something else than the record refuses the file, since a row is never changed. ` +
		`With --write stop the agent first: one program at a time writes. Imported rows are marked as kept by hand and are chained like all others.`
}

// Run checks a file, and writes it on request.
func (c *recordsImportCmd) Run(ctx context.Context, p *program) error {
	rows, err := c.read()
	if err != nil {
		return usage.Error(err)
	}
	var known records.Known
	var v words.Voice
	err = c.reading(ctx, func(r *logbook.Reader, cfg *config.Config) (err error) {
		v = voiceOf(cfg, false)
		rows, known, err = records.Importable(ctx, r, c.File, rows)
		return err
	})
	if err != nil {
		return err
	}
	what := v.Say("records.rows", len(rows.Charges), len(rows.Visits))
	if known.Same > 0 {
		what = v.Say("records.known", what, known.Same)
	}
	if !c.Write {
		_, err := fmt.Fprintln(p.stdout, v.Say("records.good", c.File, what))
		return err
	}
	if len(rows.Charges)+len(rows.Visits) > 0 {
		path, _, err := c.load()
		if err != nil {
			return err
		}
		if err := records.WriteImport(ctx, path, c.File, rows); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintln(p.stdout, v.Say("records.written", c.File, what))
	return err
}

func (c *recordsImportCmd) read() (logbook.Rows, error) {
	f, err := os.Open(c.File)
	if errors.Is(err, fs.ErrNotExist) {
		return logbook.Rows{}, fmt.Errorf("%s: there is no such file", c.File)
	}
	if err != nil {
		return logbook.Rows{}, err
	}
	rows, err := records.ReadImport(f, records.ImportOptions{Name: c.File, Zone: time.Local, Now: time.Now()})
	return rows, errors.Join(err, f.Close())
}
