// Package referencetest reads the tables of testdata for tests, and names the kind
// of a check by where its expected value comes from.
//
// The kind is the first word of a subtest's name:
//
//   - published: printed in a source: a worked example's answer, a table, a limit;
//   - model: made by physics that shares no equation with the code under test;
//   - measured: recorded on a real battery;
//   - memory: a source's value written down from memory, or a rule of the trade;
//   - arithmetic: made by the formula under test with its own constants. It finds a
//     slip in the code, never a wrong formula, and does not count as a check.
//
// A check has the kind of its weakest part. deploy/test counts them.
package referencetest

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// The kinds, as a subtest's name begins.
const (
	Published  = "published: "
	Model      = "model: "
	Measured   = "measured: "
	Memory     = "memory: "
	Arithmetic = "arithmetic: "
)

// Row is one line of a table, by column name.
type Row map[string]string

// Num returns a column as a number; a missing or broken one ends the test.
func (r Row) Num(t testing.TB, column string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("column %s of %v: %v", column, r, err)
	}
	return x
}

// Kind returns the kind of a check against this row, by the row's mark. Whatever was
// calculated is arithmetic, whatever is from memory is at best that. A row without a
// mark ends the test.
func (r Row) Kind(t testing.TB) string {
	t.Helper()
	switch mark := r["mark"]; {
	case strings.Contains(mark, "CALC"):
		return Arithmetic
	case strings.Contains(mark, "MEMORY"):
		return Memory
	case strings.Contains(mark, "SEEN"):
		return Published
	}
	t.Fatalf("no mark that shows where it is from: %v", r)
	return ""
}

// Table reads a CSV file below testdata, such as "reference/water_use.csv"; lines
// that begin with # are comments.
func Table(t testing.TB, name string) []Row {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(testdata(t), filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(bytes.NewReader(text))
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if len(lines) < 2 {
		t.Fatalf("%s: no rows", name)
	}
	rows := make([]Row, 0, len(lines)-1)
	for _, line := range lines[1:] {
		cells := Row{}
		for i, column := range lines[0] {
			cells[column] = line[i]
		}
		rows = append(rows, cells)
	}
	return rows
}

// testdata returns the repository's folder of that name, above the test's own folder.
func testdata(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return filepath.Join(dir, "testdata")
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above this folder")
		}
		dir = up
	}
}
