package main

import (
	"fmt"
	"io"
	"slices"
	"text/tabwriter"
	"time"
)

// table holds the outcomes by scenario and architecture.
type table struct {
	rows, columns []string
	planned       map[[2]string]bool
	cells         map[[2]string]outcome
}

type outcome struct {
	err  error
	took time.Duration
}

// plan adds a row and a column in the order of the scenarios, whichever board ends
// first.
func (t *table) plan(row, column string) {
	if !slices.Contains(t.rows, row) {
		t.rows = append(t.rows, row)
	}
	if !slices.Contains(t.columns, column) {
		t.columns = append(t.columns, column)
	}
	if t.planned == nil {
		t.planned = map[[2]string]bool{}
	}
	t.planned[[2]string{row, column}] = true
}

func (t *table) add(row, column string, err error, took time.Duration) {
	t.plan(row, column)
	if t.cells == nil {
		t.cells = map[[2]string]outcome{}
	}
	t.cells[[2]string{row, column}] = outcome{err, took}
}

// passed reports whether there are results and none is a failure.
func (t *table) passed() bool {
	for _, o := range t.cells {
		if o.err != nil {
			return false
		}
	}
	return len(t.cells) > 0
}

func (t *table) print(out io.Writer) {
	w := tabwriter.NewWriter(out, 0, 0, 3, ' ', 0)
	fmt.Fprint(w, "\nscenario")
	for _, column := range t.columns {
		fmt.Fprint(w, "\t", column)
	}
	fmt.Fprintln(w)
	for _, row := range t.rows {
		fmt.Fprint(w, row)
		for _, column := range t.columns {
			fmt.Fprint(w, "\t", t.cell(row, column))
		}
		fmt.Fprintln(w)
	}
	_ = w.Flush() // nowhere to report an error
}

func (t *table) cell(row, column string) string {
	o, ok := t.cells[[2]string{row, column}]
	switch {
	case !ok && !t.planned[[2]string{row, column}]:
		return "-"
	case !ok:
		return "not run"
	case o.err != nil:
		return fmt.Sprintf("FAIL (%.0f s)", o.took.Seconds())
	}
	return fmt.Sprintf("pass (%.0f s)", o.took.Seconds())
}
