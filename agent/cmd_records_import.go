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
	Write bool
	File  string `arg:"" name:"FILE.csv" type:"path"`
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
		return logbook.Rows{}, failed("no-file", c.File)
	}
	if err != nil {
		return logbook.Rows{}, err
	}
	rows, err := records.ReadImport(f, records.ImportOptions{Name: c.File, Zone: time.Local, Now: time.Now()})
	return rows, errors.Join(err, f.Close())
}
