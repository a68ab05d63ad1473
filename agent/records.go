package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"bayward/agent/config"
	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/usage"
	"bayward/agent/words"
)

type recordsCmd struct {
	List   recordsListCmd   `cmd:"" help:"List packs, charges, visits, findings, refusals or events."`
	Show   recordsShowCmd   `cmd:"" help:"Show one charge, visit, finding or refusal with all it has."`
	Export recordsExportCmd `cmd:"" help:"Print one table of the record as CSV or JSON."`
	Report recordsReportCmd `cmd:"" help:"Print the record of one pack as a page for paper."`
	Verify recordsVerifyCmd `cmd:"" help:"Say whether the chain over charges, visits and signed commissioning records holds."`
	Import recordsImportCmd `cmd:"" help:"Take in history that was kept by hand; checks only, until told to write."`
	Backup recordsBackupCmd `cmd:"" help:"Copy the whole logbook to a file, also while an agent runs."`
}

// Help is the long text of --help.
func (recordsCmd) Help() string {
	return `The record is the logbook that bayward run writes. All of these only read it, also while an agent runs. ` +
		`Name the logbook with --logbook FILE, or the configuration that names it with --config FILE.

Times are UTC. One that was stamped before the clock was set is marked, since it may be wrong by years. What is not known is left out, never 0.`
}

// bookFlags say which logbook is meant.
type bookFlags struct {
	Config  string `type:"path" placeholder:"FILE" help:"Configuration that names the logbook and knows the packs."`
	Logbook string `type:"path" placeholder:"FILE" help:"The logbook itself, such as a backup; instead of the configuration's."`
}

// load gives the logbook's path, and the configuration where one was named.
func (f *bookFlags) load() (path string, cfg *config.Config, err error) {
	if f.Config == "" && f.Logbook == "" {
		return "", nil, usage.Errorf("name the logbook: --config FILE or --logbook FILE")
	}
	if f.Config == "" {
		return f.Logbook, nil, nil
	}
	if cfg, err = config.Load(f.Config); err != nil {
		return "", nil, usage.Error(err)
	}
	return cmp.Or(f.Logbook, cfg.Logbook.Path), cfg, nil
}

// reading opens the logbook beside whoever writes it, and closes it after do.
func (f *bookFlags) reading(ctx context.Context, do func(*logbook.Reader, *config.Config) error) error {
	path, cfg, err := f.load()
	if err != nil {
		return err
	}
	r, err := logbook.OpenReadOnly(ctx, path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return usage.Errorf("logbook %s: there is no such file; bayward run makes it", path)
	case errors.Is(err, logbook.ErrNewer), errors.Is(err, logbook.ErrOlder), errors.Is(err, logbook.ErrForeign):
		return usage.Error(err)
	case err != nil:
		return err
	}
	return errors.Join(do(r, cfg), r.Close())
}

// rangeFlags choose rows.
type rangeFlags struct {
	Pack  string `placeholder:"NAME" help:"Only this pack."`
	Bay   string `placeholder:"NAME" help:"Only this bay."`
	Since string `placeholder:"WHEN" help:"Only what touches the time from here: RFC 3339, a date, or a span back from now such as 12h, 30d, 8w, 2y."`
	Until string `placeholder:"WHEN" help:"Only what began before."`
}

func (f *rangeFlags) query() (logbook.Query, error) {
	q := logbook.Query{Pack: f.Pack, Bay: f.Bay}
	now := time.Now()
	var err error
	if q.Since, err = records.When(f.Since, now, time.Local); err != nil {
		return q, usage.Errorf("--since: %w", err)
	}
	if q.Until, err = records.When(f.Until, now, time.Local); err != nil {
		return q, usage.Errorf("--until: %w", err)
	}
	if !q.Since.IsZero() && !q.Until.IsZero() && !q.Since.Before(q.Until) {
		return q, usage.Errorf("--until: value %q is not accepted: a time after --since", f.Until)
	}
	return q, nil
}

// voiceOf is how the person at the terminal reads: as the configuration says,
// where one was named. Programs always read English.
func voiceOf(cfg *config.Config, program bool) words.Voice {
	if cfg == nil || program {
		return words.EnglishSI()
	}
	return words.New(cfg.Language, cfg.Units)
}

type recordsListCmd struct {
	bookFlags
	rangeFlags
	Kind string `enum:"packs,charges,visits,findings,refusals,events" default:"packs" help:"What to list: ${enum} (${default})."`
	JSON bool   `name:"json" help:"Print JSON with all columns."`
}

// Run lists.
func (c *recordsListCmd) Run(ctx context.Context, p *program) error {
	q, err := c.query()
	if err != nil {
		return err
	}
	return c.reading(ctx, func(r *logbook.Reader, cfg *config.Config) error {
		t := records.TableIn(voiceOf(cfg, c.JSON), c.Kind)
		if c.JSON {
			return t.WriteJSON(ctx, p.stdout, r, q)
		}
		n, err := t.WriteList(ctx, p.stdout, r, q)
		if err == nil && n == 0 {
			_, err = fmt.Fprintf(p.stderr, "There are no %s that fit.\n", c.Kind)
		}
		return err
	})
}

type recordsShowCmd struct {
	bookFlags
	JSON bool   `name:"json" help:"Print JSON."`
	Kind string `arg:"" enum:"charge,visit,finding,refusal" help:"charge, visit, finding or refusal."`
	ID   int64  `arg:"" name:"ID" help:"Its number, as list shows it."`
}

// Run shows one row.
func (c *recordsShowCmd) Run(ctx context.Context, p *program) error {
	table := map[string]string{"charge": "charges", "visit": "visits", "finding": "findings", "refusal": "refusals"}[c.Kind]
	return c.reading(ctx, func(r *logbook.Reader, cfg *config.Config) error {
		t := records.TableIn(voiceOf(cfg, c.JSON), table)
		row, err := t.Find(ctx, r, c.ID)
		if errors.Is(err, records.ErrNone) {
			return usage.Errorf("%s %d: %w; bayward records list --kind %s shows what there is", c.Kind, c.ID, err, table)
		}
		if err != nil {
			return err
		}
		if c.JSON {
			return t.WriteRowJSON(p.stdout, row)
		}
		if err := t.WriteRow(p.stdout, row); err != nil || c.Kind != "visit" {
			return err
		}
		_, _ = fmt.Fprintln(p.stdout)
		return records.WriteCells(ctx, p.stdout, r, c.ID)
	})
}

type recordsExportCmd struct {
	bookFlags
	rangeFlags
	Table  string `required:"" placeholder:"NAME" help:"Which table: packs, charges, visits, cells, findings, refusals, series or events."`
	Format string `enum:"csv,json" default:"csv" help:"csv or json (${default})."`
}

// Help is the long text of --help.
func (recordsExportCmd) Help() string {
	return `CSV is RFC 4180: UTF-8, one line of names, lines that end with CRLF. JSON is an array with an object on each line. ` +
		`The columns stand in agent/records/columns.md. Times are RFC 3339 in UTC, each beside a column that says whether the clock had been set.

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

type recordsVerifyCmd struct {
	bookFlags
	JSON bool `name:"json" help:"Print JSON."`
}

// Help is the long text of --help.
func (recordsVerifyCmd) Help() string {
	return `Every closed charge and visit and every signed commissioning record carries a hash over itself and the one before it. Whoever changes, inserts or removes one later breaks the chain. ` +
		`The hash of the last link stands for the whole record: note it elsewhere, such as on a printed report, and it proves later that nothing before was rewritten.

Exit code 1: the chain is broken.`
}

// Run verifies the chain.
func (c *recordsVerifyCmd) Run(ctx context.Context, p *program) error {
	return c.reading(ctx, func(r *logbook.Reader, _ *config.Config) error {
		chain, err := r.Verify(ctx)
		if err != nil {
			return err
		}
		if err := c.print(p, chain); err != nil {
			return err
		}
		if chain.Break != nil {
			return fmt.Errorf("the chain is broken: %s", chain.Break)
		}
		return nil
	})
}

func (c *recordsVerifyCmd) print(p *program, chain logbook.Chain) error {
	if c.JSON {
		out := struct {
			Holds  bool   `json:"holds"`
			Rows   int    `json:"rows"`
			Signed int    `json:"commissioning"`
			Late   int    `json:"commissioning_from_before"`
			Head   string `json:"head"`
			Break  string `json:"break,omitempty"`
		}{Holds: chain.Break == nil, Rows: chain.Rows, Signed: chain.Signed, Late: chain.Late, Head: chain.Head}
		if chain.Break != nil {
			out.Break = chain.Break.String()
		}
		return json.NewEncoder(p.stdout).Encode(out)
	}
	if chain.Break != nil {
		_, err := fmt.Fprintf(p.stdout, "The chain holds for its first %d rows and no further: %s.\n", chain.Rows, chain.Covers())
		return err
	}
	_, err := fmt.Fprintf(p.stdout, "The chain holds: %s.\nlast link %s\n", chain.Covers(), chain.Head)
	return err
}

type recordsBackupCmd struct {
	bookFlags
	Replace bool   `help:"Replace FILE if it is there; only once the new copy is whole."`
	File    string `arg:"" name:"FILE" type:"path" help:"Where the copy goes."`
}

// Help is the long text of --help.
func (recordsBackupCmd) Help() string {
	return `The copy is of one moment, also while an agent writes, is checked before it gets its name, and is a logbook of its own: every command reads it with --logbook.

To restore: stop the agent, move the old logbook and its -wal and -shm files away, copy the backup to the logbook's place, give it to the agent's user, start the agent.`
}

// Run copies the logbook.
func (c *recordsBackupCmd) Run(ctx context.Context, p *program) error {
	return c.reading(ctx, func(r *logbook.Reader, _ *config.Config) error {
		if err := c.backup(ctx, r); err != nil {
			return err
		}
		return c.told(ctx, p)
	})
}

func (c *recordsBackupCmd) backup(ctx context.Context, r *logbook.Reader) error {
	err := r.Backup(ctx, c.File)
	if !errors.Is(err, fs.ErrExist) {
		return err
	}
	if !c.Replace {
		return usage.Errorf("%s: it is there already; name another file, or say --replace", c.File)
	}
	if path, _, err := c.load(); err != nil || sameFile(path, c.File) {
		return errors.Join(err, usage.Errorf("%s: it is the logbook itself; name another file", c.File))
	}
	next := fmt.Sprintf("%s.next-%d", c.File, os.Getpid())
	if err := r.Backup(ctx, next); err != nil {
		return err
	}
	return os.Rename(next, c.File)
}

func sameFile(a, b string) bool {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	return errX == nil && errY == nil && os.SameFile(x, y)
}

// told reads the copy as a person who needs it would.
func (c *recordsBackupCmd) told(ctx context.Context, p *program) error {
	r, err := logbook.OpenReadOnly(ctx, c.File)
	if err != nil {
		return fmt.Errorf("read the copy: %w", err)
	}
	chain, err := r.Verify(ctx)
	if err = errors.Join(err, r.Close()); err != nil {
		return fmt.Errorf("verify the copy: %w", err)
	}
	_, err = fmt.Fprintf(p.stdout, "%s: the logbook with %s in its chain.\n", c.File, chain.Covers())
	if chain.Break != nil {
		_, err = fmt.Fprintf(p.stdout, "The chain is broken in the copy as in the logbook: %s\n", chain.Break)
	}
	return err
}
