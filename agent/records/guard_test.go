package records

import (
	"bytes"
	"context"
	"encoding/csv"
	"iter"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"bayward/agent/logbook"
)

// texts are what people write, and worse: quotes, separators, line breaks,
// non-Latin letters, formulas, and apostrophes before all of them.
func texts() *rapid.Generator[string] {
	part := rapid.OneOf(
		rapid.String(),
		rapid.SampledFrom([]string{"=", "+", "-", "@", "\t", "\r", "\n", "\r\n", "'", `"`, ",", ";", " ", "＝", "张", "Зоя", "🔋", "=1+1", "e\u0301"}),
	)
	return rapid.Map(rapid.SliceOfN(part, 0, 5), func(parts []string) string { return strings.Join(parts, "") })
}

// TestTextsSurviveCSV: through our own file and back every text is the same,
// with line feeds for line breaks, and no cell could run.
func TestTextsSurviveCSV(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.SliceOfN(texts(), 1, 5).Draw(t, "texts")
		one := newTable("one", "", "", []column[string]{
			{"n", "", func(*string) any { return int64(-1) }},
			{"text", "", func(s *string) any { return *s }},
		}, func(context.Context, *logbook.Reader, logbook.Query) iter.Seq2[string, error] {
			return func(yield func(string, error) bool) {
				for _, s := range want {
					if !yield(s, nil) {
						return
					}
				}
			}
		})
		var out bytes.Buffer
		if err := one.WriteCSV(context.Background(), &out, nil, logbook.Query{}); err != nil {
			t.Fatal(err)
		}
		lines, err := csv.NewReader(&out).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, line := range lines[1:] {
			cell := line[1]
			if first := strings.TrimLeft(cell, " "); first != "" && strings.ContainsAny(first[:1], "=+-@\t\r\n") {
				t.Fatalf("%q could run", cell)
			}
			got = append(got, unguard(cell))
		}
		for i := range want {
			want[i] = strings.ReplaceAll(strings.ReplaceAll(want[i], "\r\n", "\n"), "\r", "\n")
		}
		if !slices.Equal(got, want) {
			t.Fatalf("got %q, want %q", got, want)
		}
	})
}
