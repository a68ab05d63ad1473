package records_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/words"
)

// TestCSVAndJSONAgree reads every table back, in both formats.
func TestCSVAndJSONAgree(t *testing.T) {
	_, r := kept(t, twoWeeks())
	for _, table := range records.Tables() {
		t.Run(table.Name, func(t *testing.T) {
			var asCSV, asJSON bytes.Buffer
			require.NoError(t, table.WriteCSV(t.Context(), &asCSV, r, logbook.Query{}))
			require.NoError(t, table.WriteJSON(t.Context(), &asJSON, r, logbook.Query{}))
			text := asCSV.String()
			// RFC 4180, section 2: lines end with CRLF.
			require.True(t, strings.HasSuffix(text, "\r\n"))
			require.NotContains(t, strings.ReplaceAll(text, "\r\n", ""), "\n")
			lines, err := csv.NewReader(&asCSV).ReadAll()
			require.NoError(t, err)
			var objects []map[string]any
			require.NoError(t, json.Unmarshal(asJSON.Bytes(), &objects))
			require.Len(t, objects, len(lines)-1)
			require.NotEmpty(t, objects)
			for i, object := range objects {
				require.Len(t, object, len(table.Columns))
				for j, name := range lines[0] {
					require.Equal(t, table.Columns[j].Name, name)
					mustAgree(t, name, lines[i+1][j], object[name])
				}
			}
		})
	}
}

func mustAgree(t *testing.T, name, cell string, value any) {
	t.Helper()
	switch x := value.(type) {
	case nil:
		require.Empty(t, cell, name)
	case string:
		require.Equal(t, x, strings.ReplaceAll(strings.TrimPrefix(cell, "'"), "\n'-", "\n-"), name)
		if strings.HasSuffix(name, "start") || name == "end" || name == "time" {
			_, err := time.Parse(time.RFC3339, x)
			require.NoError(t, err)
			require.True(t, strings.HasSuffix(x, "Z"))
		}
	default:
		var back any
		require.NoError(t, json.Unmarshal([]byte(cell), &back), name)
		require.Equal(t, value, back, name)
	}
}

func TestExportOfNothing(t *testing.T) {
	_, r := kept(t, logbook.Rows{})
	var out bytes.Buffer
	require.NoError(t, records.TableNamed("charges").WriteJSON(t.Context(), &out, r, logbook.Query{}))
	require.Equal(t, "[]\n", out.String())
	out.Reset()
	require.NoError(t, records.TableNamed("charges").WriteCSV(t.Context(), &out, r, logbook.Query{}))
	require.Equal(t, 1, strings.Count(out.String(), "\r\n"))
}

// TestFormulasAreTexts: no text cell begins like a formula, nor does a line of it.
func TestFormulasAreTexts(t *testing.T) {
	_, r := kept(t, twoWeeks())
	var out bytes.Buffer
	require.NoError(t, records.TableNamed("cells").WriteCSV(t.Context(), &out, r, logbook.Query{}))
	lines, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	found := 0
	for _, line := range lines {
		for _, cell := range line {
			require.NotContains(t, "=+@\t\r", cell[:min(1, len(cell))]+"?")
			if cell == "'"+strings.Replace(odd, "\n-", "\n'-", 1) {
				found++
			}
		}
	}
	require.Equal(t, 12*3+12, found, "by, closed_by and notes of the first visit, notes of the second")
}

// TestColumnsAreExplained checks columns.md against the code.
func TestColumnsAreExplained(t *testing.T) {
	want := columnsText()
	if *update {
		require.NoError(t, os.WriteFile("columns.md", []byte(want), 0o600))
	}
	got, err := os.ReadFile("columns.md")
	require.NoError(t, err)
	require.Equal(t, want, string(got), "run go test ./agent/records -update and read the diff")
}

func columnsText() string {
	var b strings.Builder
	b.WriteString(`# The tables of the record

Made from the code by ` + "`go test ./agent/records -update`" + `. ` + "`bayward records export`" + ` and ` + "`/api/v1/records.csv`" + ` give these columns in this order;
a later version may add columns at the end. Times are RFC 3339 in UTC. An unknown value is an empty cell, in JSON null.
`)
	for _, t := range records.Tables() {
		b.WriteString("\n## " + t.Name + "\n" + t.About + "\n\n| column | what it is |\n| --- | --- |\n")
		for _, c := range t.Columns {
			b.WriteString("| `" + c.Name + "` | " + c.Means + " |\n")
		}
	}
	return b.String()
}

func TestWhen(t *testing.T) {
	now := time.Date(2026, 3, 31, 12, 0, 0, 0, time.UTC)
	zone := time.FixedZone("", 2*3600)
	for text, want := range map[string]string{
		"2026-03-01T06:00:00Z": "2026-03-01T06:00:00Z", "2026-03-01T06:00:00+02:00": "2026-03-01T04:00:00Z",
		"2026-03-01": "2026-02-28T22:00:00Z", "12h": "2026-03-31T00:00:00Z", "30d": "2026-03-01T12:00:00Z",
		"1w": "2026-03-24T12:00:00Z", "1y": "2025-03-31T12:00:00Z",
	} {
		got, err := records.When(text, now, zone)
		require.NoError(t, err, text)
		require.Equal(t, want, got.UTC().Format(time.RFC3339), text)
	}
	for _, text := range []string{"yesterday", "30", "-3d", "2026-3-1", "2026-02-30", "999999d", "1m"} {
		_, err := records.When(text, now, zone)
		require.ErrorContains(t, err, "RFC 3339", text)
		require.ErrorContains(t, err, text)
	}
	none, err := records.When("", now, zone)
	require.NoError(t, err)
	require.True(t, none.IsZero())
}

func TestList(t *testing.T) {
	_, r := kept(t, twoWeeks())
	var out bytes.Buffer
	n, err := records.TableNamed("charges").WriteList(t.Context(), &out, r, logbook.Query{})
	require.NoError(t, err)
	require.Equal(t, 14, n)
	lines := strings.Split(out.String(), "\n")
	require.Contains(t, lines[0], "low_level_mm")
	require.Contains(t, lines[1], "1970-01-01T00:00:40Z (clock not set)")
	require.Contains(t, out.String(), " unknown ")
	out.Reset()
	_, err = records.TableNamed("visits").WriteList(t.Context(), &out, r, logbook.Query{})
	require.NoError(t, err)
	require.Equal(t, 4, strings.Count(out.String(), "\n"), "a name must not break a line:\n%s", out.String())
}

func TestFind(t *testing.T) {
	_, r := kept(t, twoWeeks())
	row, err := records.TableNamed("visits").Find(t.Context(), r, 2)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, records.TableNamed("visits").WriteRow(&out, row))
	require.Regexp(t, `(?m)^by +Ann `, out.String())
	out.Reset()
	require.NoError(t, records.WriteCells(t.Context(), &out, r, words.EnglishSI(), time.UTC, 2))
	require.Equal(t, 13, strings.Count(out.String(), "\n"))
	require.Contains(t, out.String(), "1.282")
	_, err = records.TableNamed("visits").Find(t.Context(), r, 99)
	require.ErrorIs(t, err, records.ErrNone)
}
