package records

import (
	"context"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"
	"unicode"

	"bayward/agent/logbook"
	"bayward/agent/words"
)

// WriteList writes the most important columns of a table as a plain table for a
// terminal, and returns how many rows there were.
func (t *Table) WriteList(ctx context.Context, w io.Writer, r *logbook.Reader, q logbook.Query) (n int, err error) {
	out := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	short := slices.DeleteFunc(slices.Clone(t.short), func(name string) bool { return strings.HasSuffix(name, "_trusted") })
	_, _ = fmt.Fprintln(out, strings.Join(short, "\t")) // errors come out of Flush
	cells := make([]string, len(short))
	for row, err := range t.rows(ctx, r, q) {
		if err != nil {
			return n, err
		}
		for i, name := range short {
			cells[i] = t.shown(row, name)
		}
		_, _ = fmt.Fprintln(out, strings.TrimRight(strings.Join(cells, "\t"), "\t"))
		n++
	}
	return n, out.Flush()
}

// shown returns a value for a terminal; an untrusted time has a mark.
func (t *Table) shown(row []any, name string) string {
	v := row[t.index(name)]
	switch x := v.(type) {
	case nil:
		return "-"
	case time.Time:
		text := x.In(t.zone).Format(time.RFC3339)
		if i := t.index(name + "_trusted"); i >= 0 {
			if trusted, ok := row[i].(bool); ok && !trusted {
				text = t.voice.Say("records.clock", text)
			}
		}
		return text
	case float64:
		return strconv.FormatFloat(math.Round(x*1000)/1000, 'f', -1, 64)
	case string:
		if x == "" {
			return "-"
		}
		return harmless(x)
	}
	return plain(v)
}

// harmless prevents typed text from moving the cursor or hiding lines.
func harmless(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r):
			return '�'
		}
		return r
	}, text)
}

// ErrNone is returned when the record has no such row.
var ErrNone = words.Fail("records.no-row")

// Find returns the row of a table with an id, as a new slice. The error is ErrNone
// when there is none; tables without an id have none.
func (t *Table) Find(ctx context.Context, r *logbook.Reader, id int64) ([]any, error) {
	at := t.index("id")
	if at < 0 {
		return nil, ErrNone
	}
	for row, err := range t.rows(ctx, r, logbook.Query{}) {
		if err != nil {
			return nil, err
		}
		if row[at] == id {
			return slices.Clone(row), nil
		}
	}
	return nil, ErrNone
}

// WriteRow writes everything in one row, a line for each column.
func (t *Table) WriteRow(w io.Writer, row []any) error {
	out := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for i, c := range t.Columns {
		v := plain(row[i])
		if at, ok := row[i].(time.Time); ok {
			v = at.In(t.zone).Format(time.RFC3339)
		}
		if c.Name == "cautions" || c.Name == "notes" {
			v = confirmedLines(t.voice, v)
		}
		if v != "" {
			_, _ = fmt.Fprintf(out, "%s\t%s\t%s\n", c.Name, harmless(v), c.Means) // errors come out of Flush
		}
	}
	return out.Flush()
}

// WriteCells writes what was done at each cell of a visit as a plain table, and what
// was corrected in it.
func WriteCells(ctx context.Context, w io.Writer, r *logbook.Reader, v words.Voice, zone *time.Location, visit int64) error {
	one := TableFor(v, zone, "cells")
	all := one.rows
	at, cell := one.index("id"), one.index("cell")
	one.rows = func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[[]any, error] {
		return func(yield func([]any, error) bool) {
			for row, err := range all(ctx, r, q) {
				if wanted := err != nil || row[at] == visit && row[cell] != nil; wanted && !yield(row, err) {
					return
				}
			}
		}
	}
	one.short = fieldsOf("cell water_ml how drawn_ml rod_before_mm dry_before rod_after_mm dry_after gravity gravity_c gravity_verdict cell_by")
	if _, err := one.WriteList(ctx, w, r, logbook.Query{}); err != nil {
		return err
	}
	return writeCorrections(ctx, w, r, TableFor(v, zone, "corrections"), visit)
}

// writeCorrections writes the corrections of a visit, and nothing when there are
// none.
func writeCorrections(ctx context.Context, w io.Writer, r *logbook.Reader, t *Table, visit int64) error {
	all, at, some := t.rows, t.index("visit"), false
	t.rows = func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[[]any, error] {
		return func(yield func([]any, error) bool) {
			for row, err := range all(ctx, r, q) {
				if (err != nil || row[at] == visit) && !yield(row, err) {
					return
				}
			}
		}
	}
	for _, err := range t.rows(ctx, r, logbook.Query{}) {
		if err != nil {
			return err
		}
		some = true
		break
	}
	if !some {
		return nil
	}
	t.short = fieldsOf("time cell field old new by reason")
	_, _ = fmt.Fprintln(w)
	_, err := t.WriteList(ctx, w, r, logbook.Query{})
	return err
}

// WriteRowJSON writes one row as a JSON object.
func (t *Table) WriteRowJSON(w io.Writer, row []any) error {
	object, err := t.object(row)
	if err == nil {
		_, err = fmt.Fprintln(w, object)
	}
	return err
}
