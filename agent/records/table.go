package records

import (
	"context"
	"iter"
	"slices"
	"time"

	"bayward/agent/logbook"
	"bayward/agent/words"
)

// Column is one column of a table.
type Column struct {
	Name  string // lower case, with its unit
	Means string // one line, in the reader's language; "" for one that explains itself
}

// Table is one table of the record, for people and programs.
type Table struct {
	Name    string
	About   string // one sentence
	Columns []Column
	short   []string       // the columns that a list on a terminal shows
	zone    *time.Location // of times on a terminal
	voice   words.Voice    // of its sentences
	rows    func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[[]any, error]
}

// Rows returns the rows that a query selects, in a stable order. A value is nil
// (unknown), a string, a bool, an int64, a float64, a time.Time in UTC or a json.RawMessage. The slice
// is reused for the next row. An error ends the sequence.
func (t *Table) Rows(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[[]any, error] {
	return t.rows(ctx, r, q)
}

// Tables lists the tables in the order of columns.md. Their sentences are English,
// as programs read them.
func Tables() []*Table { return tables(words.EnglishSI()) }

func tables(v words.Voice) []*Table {
	return []*Table{packs(v), charges(v), visits(v), cells(v), corrections(v), findings(v), refusals(v), series(v), events(v), orders(v)}
}

// TableNamed finds a table; nil when there is none of that name.
func TableNamed(name string) *Table { return TableFor(words.EnglishSI(), time.UTC, name) }

// TableFor is TableNamed for a person: with sentences in the voice's language, and
// with times on a terminal in the zone.
func TableFor(v words.Voice, zone *time.Location, name string) *Table {
	all := tables(v)
	i := slices.IndexFunc(all, func(t *Table) bool { return t.Name == name })
	if i < 0 {
		return nil
	}
	all[i].zone = zone
	return all[i]
}

// TableNames lists the names of all tables.
func TableNames() []string {
	var names []string
	for _, t := range Tables() {
		names = append(names, t.Name)
	}
	return names
}

// index finds a column, -1 when there is none.
func (t *Table) index(name string) int {
	return slices.IndexFunc(t.Columns, func(c Column) bool { return c.Name == name })
}

// column is a column with the function for its value in a row.
type column[T any] struct {
	name string
	of   func(*T) any
}

// newTable joins columns to a sequence of rows.
func newTable[T any](v words.Voice, name, short string, cols []column[T],
	read func(context.Context, *logbook.Reader, logbook.Query) iter.Seq2[T, error],
) *Table {
	t := &Table{Name: name, About: v.Say("table." + name), short: fieldsOf(short), zone: time.UTC, voice: v}
	for _, c := range cols {
		t.Columns = append(t.Columns, Column{c.name, v.Column(name, c.name)})
	}
	t.rows = func(ctx context.Context, r *logbook.Reader, q logbook.Query) iter.Seq2[[]any, error] {
		return valuesOf(cols, read(ctx, r, q))
	}
	return t
}

func valuesOf[T any](cols []column[T], rows iter.Seq2[T, error]) iter.Seq2[[]any, error] {
	return func(yield func([]any, error) bool) {
		values := make([]any, len(cols))
		for row, err := range rows {
			for i, c := range cols {
				values[i] = c.of(&row)
			}
			if !yield(values, err) || err != nil {
				return
			}
		}
	}
}

// number converts a Num to a value of a row.
func number(n logbook.Num) any {
	if n == nil {
		return nil
	}
	return *n
}

// moment converts a time to a value of a row; the zero time means none.
func moment(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UTC()
}
