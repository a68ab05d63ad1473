package electrolyte_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// row is one line of a published table, by column name.
type row map[string]string

// num returns a column as a number; a missing or broken one ends the test.
func (r row) num(t *testing.T, column string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("column %s of %v: %v", column, r, err)
	}
	return x
}

// table reads a CSV below testdata; lines that begin with # are comments.
func table(t *testing.T, name string) []row {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if len(lines) < 2 {
		t.Fatalf("%s: no rows", name)
	}
	rows := make([]row, 0, len(lines)-1)
	for _, line := range lines[1:] {
		cells := row{}
		for i, column := range lines[0] {
			cells[column] = line[i]
		}
		rows = append(rows, cells)
	}
	return rows
}

// pick returns the rows whose column contains text, and fails unless there are want
// of them.
func pick(t *testing.T, rows []row, column, text string, want int) []row {
	t.Helper()
	var kept []row
	for _, r := range rows {
		if strings.Contains(r[column], text) {
			kept = append(kept, r)
		}
	}
	if len(kept) != want {
		t.Fatalf("%d rows with %q in %s, want %d", len(kept), text, column, want)
	}
	return kept
}

// near fails when got is further than tolerance from want, or is not a number.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.7g, published %.7g, tolerance %.3g", what, got, want, tolerance)
	}
}

// must unwraps a value that the test expects to exist.
func must(t *testing.T) func(x float64, err error) float64 {
	return func(x float64, err error) float64 {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
}
