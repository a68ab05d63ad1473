package records

import (
	"bytes"
	"context"
	"encoding/csv"
	"iter"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/logbook"
	"bayward/agent/words"
)

// texts are what people type, and worse: quotes, separators, line breaks, non-Latin
// letters, formulas, and apostrophes before all of them.
func texts() *rapid.Generator[string] {
	part := rapid.OneOf(
		rapid.String(),
		rapid.SampledFrom([]string{"=", "+", "-", "@", "\t", "\r", "\n", "\r\n", "'", `"`, ",", ";", " ", "＝", "张", "Зоя", "🔋", "=1+1", "e\u0301"}),
	)
	return rapid.Map(rapid.SliceOfN(part, 0, 5), func(parts []string) string { return strings.Join(parts, "") })
}

// failing is what tests, properties and fuzzing share.
type failing interface {
	Helper()
	Fatalf(format string, args ...any)
}

// mustSurvive writes texts as a table and reads them back: each is the same, with
// line feeds for line breaks, and no cell can run, whichever separator the
// spreadsheet uses.
func mustSurvive(t failing, want []string) {
	t.Helper()
	one := newTable(words.EnglishSI(), "one", "", []column[string]{
		{"n", func(*string) any { return int64(1) }},
		{"text", func(s *string) any { return *s }},
		{"same", func(s *string) any { return *s }},
		{"less", func(*string) any { return -1.5 }},
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
		t.Fatalf("%v", err)
	}
	for _, separator := range ",;\t" {
		for _, cell := range spreadsheetCells(out.String(), byte(separator)) {
			if evaluated(cell) {
				t.Fatalf("with separator %q the cell %q could run, of %q", separator, cell, want)
			}
		}
	}
	lines, err := csv.NewReader(&out).ReadAll()
	if err != nil {
		t.Fatalf("%v", err)
	}
	var got []string
	for _, line := range lines[1:] {
		if line[1] != line[2] || line[3] != "-1.5" {
			t.Fatalf("%q", line)
		}
		got = append(got, unguard(line[1]))
	}
	same := slices.Clone(want)
	for i := range same {
		same[i] = strings.ReplaceAll(strings.ReplaceAll(same[i], "\r\n", "\n"), "\r", "\n")
	}
	if !slices.Equal(got, same) {
		t.Fatalf("got %q, want %q", got, same)
	}
}

// spreadsheetCells splits a file like a spreadsheet that is set to this separator,
// or guesses it: quotes count only at the beginning of a cell, and what follows the
// closing one is part of the cell (common practice, no source).
func spreadsheetCells(text string, separator byte) []string {
	var cells []string
	for text != "" {
		var cell strings.Builder
		if strings.HasPrefix(text, `"`) {
			text = text[1:]
			for text != "" {
				c := text[0]
				doubled := strings.HasPrefix(text, `""`)
				text = text[1:]
				if doubled {
					text = text[1:]
				} else if c == '"' {
					break
				}
				cell.WriteByte(c)
			}
		}
		end := strings.IndexAny(text, string(separator)+"\r\n")
		if end < 0 {
			end = len(text)
		}
		cell.WriteString(text[:end])
		cells = append(cells, cell.String())
		text = text[min(end+1, len(text)):]
	}
	return cells
}

// evaluated reports whether a spreadsheet would evaluate a cell. A number is not
// evaluated, whatever its sign; a spreadsheet in an East Asian language treats
// full-width forms like the narrow ones.
func evaluated(cell string) bool {
	if _, err := strconv.ParseFloat(cell, 64); err == nil {
		return false
	}
	first, _ := utf8.DecodeRuneInString(strings.TrimLeft(cell, " \t\r\n"))
	return strings.ContainsRune("=+-@＝＋－＠", first)
}

func TestTextsSurviveCSV(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mustSurvive(t, rapid.SliceOfN(texts(), 1, 5).Draw(t, "texts"))
	})
}

// TestGuardTellsPeople shows what is in the file.
func TestGuardTellsPeople(t *testing.T) {
	for text, want := range map[string]string{
		"=1+1":                        "'=1+1",
		"'=1+1":                       "''=1+1",
		"wet; dry":                    "wet; dry",
		"wet;=1+1":                    "wet;'=1+1",
		"to do:\r\n- cell 3\r\n- 4":   "to do:\n'- cell 3\n'- 4",
		`a;"=1+1"`:                    `a;'"=1+1"`,
		"O'Neil, 'Zoë'; it's '5 % ok": "O'Neil, 'Zoë'; it's '5 % ok",
		"\n\n=1":                      "'\n'\n'=1",
		"＝1":                          "'＝1",
		"a;\t@":                       "a;'\t'@",
	} {
		require.Equal(t, want, guard(text))
		require.Equal(t, strings.ReplaceAll(text, "\r\n", "\n"), unguard(want))
	}
}

// FuzzGuard looks for a text that a spreadsheet would run, or that does not come
// back from a file.
func FuzzGuard(f *testing.F) {
	for _, seed := range []string{"=cmd|'/C calc'!A0", "wet;=1+1", "a\n-1", `x;"=1"`, "'\t'=", "＝HYPERLINK(\"a\")", "'''@", ";;;\"\"\"+", "1,\";=2\""} {
		f.Add(seed, "Zoë; 张")
	}
	f.Fuzz(func(t *testing.T, a, b string) { mustSurvive(t, []string{a, b}) })
}
