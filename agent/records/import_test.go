package records_test

import (
	"bytes"
	"errors"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/words"
)

var importNow = time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)

func imported(text string) (logbook.Rows, error) {
	return records.ReadImport(strings.NewReader(text), records.ImportOptions{Name: "h.csv", Zone: time.FixedZone("", 3600), Now: importNow})
}

func TestExamplesAreTaken(t *testing.T) {
	for name, want := range map[string][2]int{"visits.csv": {0, 2}, "charges.csv": {2, 0}} {
		text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "records", name))
		require.NoError(t, err)
		rows, err := imported(string(text))
		require.NoError(t, err)
		require.Equal(t, want, [2]int{len(rows.Charges), len(rows.Visits)})
		if name == "charges.csv" {
			require.Equal(t, 162.5, *rows.Charges[0].InAh)
			require.Equal(t, "2025-11-02T17:00:00Z", rows.Charges[0].Start.Wall.Format(time.RFC3339))
			require.Equal(t, "unknown", dryOf(t, rows.Charges[0]), "not measured")
			continue
		}
		require.Equal(t, 345.0, rows.Visits[0].TotalML)
		require.Equal(t, logbook.ByImport, rows.Visits[0].Origin)
		require.Len(t, rows.Visits[0].Cells, 3)
		require.Equal(t, rows.Visits[1].Start, rows.Visits[1].End)
	}
}

func dryOf(t *testing.T, c logbook.Charge) string {
	t.Helper()
	_, r := kept(t, logbook.Rows{Charges: []logbook.Charge{c}})
	row, err := records.TableNamed("charges").Find(t.Context(), r, 1)
	require.NoError(t, err)
	for i, col := range records.TableNamed("charges").Columns {
		if col.Name == "dry" {
			return row[i].(string)
		}
	}
	return ""
}

func TestImportRefuses(t *testing.T) {
	const visit, charge = "bay,pack,start,cell,water_ml\n", "bay,pack,start,end,in_ah\n"
	for text, says := range map[string]string{
		"":                               "h.csv: line 1: a line of column names is required",
		"bay,pack,start\na,b,c\n":        "neither a column cell",
		visit:                            "no rows below",
		visit + "b-1,p,2026-01-01,x,1":   `h.csv: line 2: field cell: value "x" is not accepted: 1 to 48`,
		visit + "b-1,p,2026-01-01,49,1":  `field cell: value "49"`,
		visit + "b-1,p,2026-01-01,1.5,1": `field cell: value "1.5" is not accepted: a whole number`,
		visit + "b-1,p,2026-01-01,,1":    `field cell: value "" is not accepted`,
		visit + "b-1,p,2026-01-01,1,-1":  `field water_ml: value "-1" is not accepted: 0 to 10000 ml`,
		visit + "b-1,p,2026-01-01,1,nan": `field water_ml: value "nan"`,
		visit + "b-1,p,2026-01-01,1,1\nb-1,p,2026-01-01,1,2":                       "line 3: cell 1 of this visit is in the file twice",
		visit + "b-1,p,2026-01-01,1,1\nb-1,p,2026-01-02,1,2\nb-1,p,2026-01-01,2,2": "line 4: this visit is already in line 2",
		visit + "b-1,p,01.02.2026,1,1":                                             `field start: value "01.02.2026" is not accepted: 2026-03-01 14:30`,
		visit + "b-1,p,2027-01-01,1,1":                                             "up to now",
		visit + "Bay 1,p,2026-01-01,1,1":                                           `field bay: value "Bay 1" is not accepted: as in the configuration`,
		visit + "b-1,p,2026-01-01,1":                                               "line 2: wrong number of fields",
		visit + "b-1,p,2026-01-01,1,\"1":                                           "line 2:",
		"bay,pack,start,cell,color\n":                                              `line 1: unknown column "color"; accepted: bay, pack`,
		"bay,pack,cell\n":                                                          `column "start" is missing`,
		"bay,pack,start,cell,cell\n":                                               `column "cell" appears twice`,
		charge + "b-1,p,2026-01-02,2026-01-01,5":                                   `field end: value "2026-01-01" is not accepted: not before start`,
		charge + "b-1,p,2026-01-01,,5\nb-1,p,2026-01-01,,6":                        "line 3: this charge is already in line 2",
		charge + "b-1,p,2026-01-01,,\"5,5\"":                                       `field in_ah: value "5,5"`,
		"\xff\xfeb\x00":                                                            "UTF-16",
		charge + "b-1,p,2026-01-01,,\xe9":                                          "line 2: the file is not UTF-8",
		"bay,pack,start,cell,by\nb,p,2026-01-01,1,A\nb,p,2026-01-01,2,B":           `line 3: field by: value "B" is not accepted: must be the same in all lines of this visit`,
	} {
		rows, err := imported(text)
		require.ErrorContains(t, err, says, text)
		require.True(t, rows.Empty(), text)
		bad, ok := errors.AsType[*records.ImportError](err)
		require.True(t, ok)
		require.NotEmpty(t, bad.Problems)
		for _, language := range words.Languages() {
			text := words.New(language, "").Error(err)
			require.NotContains(t, text, "⟦")
			require.NotContains(t, text, "%!")
			if language != words.English {
				require.NotRegexp(t, `\b(line|must|accepted|the|and|already)\b`, text)
			}
		}
	}
	_, err := imported(visit + strings.Repeat("b-1,p,2026-01-01,0,1\n", 100))
	require.ErrorContains(t, err, "and 80 more")
}

func TestImportTakesWhatSpreadsheetsWrite(t *testing.T) {
	for name, text := range map[string]string{
		"byte order mark, CRLF": "\ufeffbay,pack,start,in_ah\r\nb-1,p,2026-01-01,5.5\r\n",
		"semicolons":            "bay;pack;start;in_ah\r\nb-1;p;2026-01-01;5,5\r\n",
		"capitals and spaces":   "Bay, Pack ,START,In_Ah\nb-1, p,2026-01-01 , 5.5\n",
	} {
		rows, err := imported(text)
		require.NoError(t, err, name)
		require.Equal(t, 5.5, *rows.Charges[0].InAh, name)
	}
}

// TestOwnExportComesBack: what one logbook exports, another imports, and its export
// is the same except for what the file assigns.
func TestOwnExportComesBack(t *testing.T) {
	rows := twoWeeks()
	rows.Charges = rows.Charges[:13] // the last one is still in progress
	_, r := kept(t, rows)
	for _, name := range []string{"cells", "charges"} {
		table := records.TableNamed(name)
		var first, second bytes.Buffer
		require.NoError(t, table.WriteCSV(t.Context(), &first, r, logbook.Query{}))
		back, err := records.ReadImport(bytes.NewReader(first.Bytes()), records.ImportOptions{Name: name, Zone: time.UTC, Now: importNow})
		require.NoError(t, err)
		fresh, known, err := records.Fresh(t.Context(), r, back)
		require.NoError(t, err)
		require.True(t, fresh.Empty(), "every row is already there")
		require.Empty(t, known.Differs)
		require.Equal(t, len(back.Charges)+len(back.Visits), known.Same)

		path := filepath.Join(t.TempDir(), "l.db")
		b, err := logbook.Open(t.Context(), path, slog.New(slog.DiscardHandler))
		require.NoError(t, err)
		t.Cleanup(func() { _ = b.Close() })
		fresh, known, err = records.Fresh(t.Context(), b.Reader, back)
		require.NoError(t, err)
		require.Zero(t, known)
		require.Equal(t, back, fresh)
		require.NoError(t, b.Write(t.Context(), logbook.Entry{Bay: "bay-1", Rows: back}))
		require.NoError(t, table.WriteCSV(t.Context(), &second, b.Reader, logbook.Query{}))
		require.Equal(t, anonymous(first.String()), anonymous(second.String()))
	}
}

// anonymous removes numbers and origins, which the second logbook assigns.
func anonymous(text string) []string {
	var out []string
	for line := range strings.SplitSeq(text, "\r\n") {
		out = append(out, strings.NewReplacer(",agent,", ",", ",import,", ",").Replace(strings.TrimLeft(line, "0123456789")))
	}
	return out
}

// FuzzImport: a file is accepted whole or not at all, each error names its line,
// and what was accepted could be written: it has a bay, a pack, an end, and numbers
// within their bounds.
func FuzzImport(f *testing.F) {
	for _, name := range []string{"visits.csv", "charges.csv"} {
		text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "records", name))
		require.NoError(f, err)
		f.Add(string(text))
	}
	for _, text := range []string{
		"bay,pack,start,cell\nb,p,2026-01-01,\"1",
		"\ufeffbay;pack;start;cell;water_ml\r\nb-1;p;2026-01-01;1;55,5\r\n",
		"bay,pack,start,cell,notes\nb,p,2026-01-01,1,\"a\nb\"\nb,p,2026-01-01,x,\"a\nb\"",
		"\"bay\n\",pack,start,in_ah\n",
		"bay,pack,start,in_ah,by\nb,p,2026-01-01,0x1p4,1",
		"bay,pack,start,end,start_trusted,in_ah\nb,p,2026-01-02,2026-01-01,no,1e999",
		"bay,pack,start,cell,gravity\n\nb,p,2026-01-01T00:00:00+14:00,1,1.28\n",
		"bay,pack,start,cell\nb,p,2026-01-01,1\x00",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		rows, err := imported(text)
		if err != nil {
			mustNameLines(t, err, strings.Count(text, "\n")+1)
			if !rows.Empty() {
				t.Fatalf("rejected, and yet there are %+v", rows)
			}
			return
		}
		if len(rows.Charges)+len(rows.Visits) == 0 {
			t.Fatal("accepted, but empty")
		}
		for i := range rows.Charges {
			mustBeWhole(t, &rows.Charges[i].Span)
		}
		for i := range rows.Visits {
			mustBeWhole(t, &rows.Visits[i].Span)
			mustHaveCells(t, &rows.Visits[i])
		}
	})
}

var saysLine = regexp.MustCompile(`^line ([0-9]+): `)

func mustNameLines(t *testing.T, err error, last int) {
	t.Helper()
	bad, ok := errors.AsType[*records.ImportError](err)
	if !ok || len(bad.Problems) == 0 {
		t.Fatalf("%v", err)
	}
	for _, p := range bad.Problems {
		said := saysLine.FindStringSubmatch(words.EnglishSI().Word(p))
		if said == nil {
			t.Fatalf("%q names no line", p)
		}
		if n, err := strconv.Atoi(said[1]); err != nil || n < 1 || n > last {
			t.Fatalf("%q names a line that is not there: the file has %d", p, last)
		}
	}
}

func mustBeWhole(t *testing.T, s *logbook.Span) {
	t.Helper()
	if s.Bay == "" || s.Pack == "" || s.Open() || s.Origin != logbook.ByImport || s.Start.Wall.After(importNow) || s.End.Wall.After(importNow) ||
		s.Start.Wall.Year() < 1970 || s.Start.Trusted && s.End.Wall.Before(s.Start.Wall) {
		t.Fatalf("%+v", s)
	}
}

func mustHaveCells(t *testing.T, v *logbook.Visit) {
	t.Helper()
	total := 0.0
	for i, c := range v.Cells {
		if c.Cell < 1 || c.Cell > 48 || i > 0 && v.Cells[i-1].Cell >= c.Cell {
			t.Fatalf("%+v", v.Cells)
		}
		if c.ML != nil {
			if !(*c.ML >= 0 && *c.ML <= 10000) {
				t.Fatalf("cell %d was given %g ml", c.Cell, *c.ML)
			}
			total += *c.ML
		}
	}
	if math.Abs(total-v.TotalML) > 1e-6 {
		t.Fatalf("the cells were given %g ml, the visit %g ml", total, v.TotalML)
	}
}
