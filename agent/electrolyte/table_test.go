package electrolyte_test

import (
	"math"
	"strings"
	"testing"

	"bayward/agent/referencetest"
)

// row is one line of a published table.
type row = referencetest.Row

// table reads a CSV below testdata.
func table(t *testing.T, name string) []row {
	t.Helper()
	return referencetest.Table(t, name)
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
