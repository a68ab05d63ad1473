package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"time"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/usage"
)

type recordsImportCmd struct {
	bookFlags
	Write bool   `help:"Write it. Without this nothing is written, only checked."`
	File  string `arg:"" name:"FILE.csv" type:"path" help:"Hand-kept history."`
}

// Help is the long text of --help.
func (recordsImportCmd) Help() string {
	return `Takes in visits (a line for each cell; the column cell tells) or charges (the column in_ah tells). testdata/records has an example of each; ` +
		`the columns are those of the tables cells and charges in agent/records/columns.md, in any order; bay, pack and start are needed, the rest may be left out. ` +
		`UTF-8 with or without a byte order mark; commas, or semicolons, then decimals may have a comma. Times without a zone are local.

Nothing is written without --write, and then all of the file or nothing. A row that the record has already (same bay, pack and start) is left out, so a file that has grown can be imported again; one that says something else than the record refuses the file, since a row is never changed. ` +
		`With --write stop the agent first: one program at a time writes. Imported rows are marked as kept by hand and are chained like all others.`
}

// Run checks a file, and writes it when told to.
func (c *recordsImportCmd) Run(ctx context.Context, p *program) error {
	rows, err := c.read()
	if err != nil {
		return usage.Error(err)
	}
	var known records.Known
	err = c.reading(ctx, func(r *logbook.Reader, _ *config.Config) (err error) {
		rows, known, err = c.fresh(ctx, r, rows)
		return err
	})
	if err != nil {
		return err
	}
	what := fmt.Sprintf("%d charges and %d visits", len(rows.Charges), len(rows.Visits))
	if known.Same > 0 {
		what += fmt.Sprintf(" (%d more are in the record already)", known.Same)
	}
	if !c.Write {
		_, err := fmt.Fprintf(p.stdout, "%s is good: %s. Nothing was written; say --write to do it.\n", c.File, what)
		return err
	}
	if len(rows.Charges)+len(rows.Visits) > 0 {
		if err := c.write(ctx, rows); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintf(p.stdout, "%s: %s were written.\n", c.File, what)
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

// fresh leaves out what the record has, and refuses what contradicts it.
func (c *recordsImportCmd) fresh(ctx context.Context, r *logbook.Reader, rows logbook.Rows) (logbook.Rows, records.Known, error) {
	rows, known, err := records.Fresh(ctx, r, rows)
	if n := len(known.Differs); err == nil && n > 0 {
		err = usage.Errorf("%s: %d of its rows say something else than the record, which is never changed; the first is %s", c.File, n, known.Differs[0])
	}
	return rows, known, err
}

func (c *recordsImportCmd) write(ctx context.Context, rows logbook.Rows) (err error) {
	path, _, err := c.load()
	if err != nil {
		return err
	}
	b, err := logbook.Open(ctx, path, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, b.Close()) }()
	if b.SetAside() != "" {
		return fmt.Errorf("logbook %s was damaged and is kept as %s; nothing was imported", path, b.SetAside())
	}
	if rows, _, err = c.fresh(ctx, b.Reader, rows); err != nil || rows.Empty() { // an agent may have written since
		return err
	}
	return b.Write(ctx, logbook.Entry{Bay: firstBay(rows), Rows: rows})
}

func firstBay(rows logbook.Rows) string {
	if len(rows.Charges) > 0 {
		return rows.Charges[0].Bay
	}
	return rows.Visits[0].Bay
}
