package records_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/logbook"
	"bayward/agent/records"
	"bayward/agent/words"
)

// halfDone is a visit in which cells 1 to 6 were given 105 ml and cells 7 to 12 were
// only read: what they were given is not known.
func halfDone() logbook.Rows {
	v := logbook.Visit{Span: spanAt(12, 1), Kind: logbook.VisitWater, By: "Ramón", ClosedBy: "Ramón"}
	for cell := 1; cell <= 12; cell++ {
		c := logbook.VisitCell{Cell: cell, BeforeMM: logbook.Known(5), By: "Ana"}
		if cell <= 6 {
			c.ML, c.AfterMM, c.By, c.How = logbook.Known(105), logbook.Known(13), "Ramón", "measured"
			v.TotalML += 105
		}
		v.Cells = append(v.Cells, c)
	}
	return logbook.Rows{Visits: []logbook.Visit{v}}
}

// middleOf returns the median of what a table of cells has as water.
func middleOf(t *testing.T, texts []string) float64 {
	t.Helper()
	var all []float64
	for _, text := range texts {
		if text == "" || text == "-" {
			continue
		}
		ml, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err)
		all = append(all, ml)
	}
	slices.Sort(all)
	require.NotEmpty(t, all)
	return (all[(len(all)-1)/2] + all[len(all)/2]) / 2
}

// TestUnknownIsNotZero: the median of a visit with unknown cells is the same by
// every way: the page with a configuration, the command without one, what show
// prints, and the export.
func TestUnknownIsNotZero(t *testing.T) {
	_, r := kept(t, halfDone())
	pages := map[string]string{"without a configuration": reported(t, halfDone(), func(o *records.ReportOptions) { o.Facts = nil })}
	h := records.Handler(records.ServeOptions{Reader: r, Now: func() time.Time { return at(340).Wall }, Describe: func(o *records.ReportOptions) {
		o.Facts = options().Facts
	}})
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/records?pack=lift-24v", nil))
	pages["/records"] = w.Body.String()
	for name, page := range pages {
		require.Contains(t, page, "Median of the cells: 105 ml.", name)
		row := regexp.MustCompile(`<tr><td class="n">7</td>.*`).FindString(page)
		require.NotContains(t, row, ">0<", "%s: %s", name, row)
	}
	mustSay(t, pages["/records"], `<tr><td class="n">7</td><td class="n heat-0">–</td><td class="n">–</td><td class="share"></td></tr>`)

	var shown, exported bytes.Buffer
	require.NoError(t, records.WriteCells(t.Context(), &shown, r, words.EnglishSI(), time.UTC, 1))
	var column []string
	for _, line := range strings.Split(strings.TrimSpace(shown.String()), "\n")[1:] {
		column = append(column, strings.Fields(line)[1])
	}
	require.InDelta(t, 105.0, middleOf(t, column), 0, shown.String())
	require.NoError(t, records.TableNamed("cells").WriteCSV(t.Context(), &exported, r, logbook.Query{}))
	lines, err := csv.NewReader(&exported).ReadAll()
	require.NoError(t, err)
	at := slices.Index(lines[0], "water_ml")
	column = nil
	for _, line := range lines[1:] {
		column = append(column, line[at])
	}
	require.InDelta(t, 105.0, middleOf(t, column), 0)
}

// TestUnknownTotal: a visit of which no amount is known has no total.
func TestUnknownTotal(t *testing.T) {
	v := logbook.Visit{Span: spanAt(12, 1), Kind: logbook.VisitWater, By: "Ann", Cells: []logbook.VisitCell{{Cell: 1, AfterMM: logbook.Known(13)}}}
	_, r := kept(t, logbook.Rows{Visits: []logbook.Visit{v}})
	for row, err := range records.TableNamed("visits").Rows(t.Context(), r, logbook.Query{}) {
		require.NoError(t, err)
		require.NotContains(t, row, 0.0)
	}
}

// TestUnevenSums: a cell that lacks the amount of one visit has no full sum, and is
// not compared with the others.
func TestUnevenSums(t *testing.T) {
	rows := halfDone()
	again := rows.Visits[0]
	again.Span, again.Cells = spanAt(40, 1), nil
	for cell := 1; cell <= 12; cell++ {
		again.Cells = append(again.Cells, logbook.VisitCell{Cell: cell, ML: logbook.Known(95)})
	}
	rows.Visits = append(rows.Visits, again)
	page := reported(t, rows, nil)
	mustSay(t, page, "Median of the cells: 200 ml.")
	mustSay(t, page, `<td class="n">≥ 95</td>`)
	require.NotContains(t, page, `<td class="n bad">`)
}

// TestWhoReadWhatWhere: the level readings of each cell are on paper, and who did
// which cell.
func TestWhoReadWhatWhere(t *testing.T) {
	rows := halfDone()
	rows.Visits[0].Cells[0].BeforeMM, rows.Visits[0].Cells[0].DryBefore = nil, true
	page := reported(t, rows, nil)
	for _, want := range []string{
		"Ramón; Ramón: cells 1 to 6; Ana: cells 7 to 12",
		`<tr><td class="n">1</td><td class="n">dry → 13.0</td></tr>`, `<tr><td class="n">2</td><td class="n">5.0 → 13.0</td></tr>`,
		`<tr><td class="n">12</td><td class="n">5.0 → –</td></tr>`,
	} {
		mustSay(t, page, want)
	}
	mustBeWellFormed(t, page)
}

// TestKindsOfAmounts: measured, to the mark and as proposed are told apart, and what
// nobody measured makes no cell odd.
func TestKindsOfAmounts(t *testing.T) {
	rows := halfDone()
	cells := rows.Visits[0].Cells
	for i, how := range []string{"measured", "to-mark", "as-proposed", "measured", "measured", "measured"} {
		cells[i].How = how
	}
	cells[2].ML, cells[3].ML, cells[3].DrawnML = logbook.Known(300), logbook.Known(300), logbook.Known(40)
	page := reported(t, rows, nil)
	for _, want := range []string{
		">105<", ">≈ 105<", `>~ 300</td><td class="n">300</td>`, `>300<br/>40 drawn off</td><td class="n bad">300</td>`, "≈ filled to the mark", "~ as proposed, not measured",
	} {
		mustSay(t, page, want)
	}
}

// TestCorrectedOnPaper: the new value with the old one beside it, and who, when and
// why.
func TestCorrectedOnPaper(t *testing.T) {
	rows := halfDone()
	rows.Visits[0].Cells[3].ML, rows.Visits[0].TotalML = logbook.Known(1050), 105*5+1050
	rows.Corrections = []logbook.Correction{
		{Bay: "bay-1", Visit: 1, Cell: 4, Field: logbook.CellML, New: logbook.Known(105), Reason: "one 0 too many", By: "Ana", At: at(20)},
		{Bay: "bay-1", Visit: 1, Cell: 5, Field: logbook.CellBeforeMM, Reason: "another cell", By: "Ana", At: at(21)},
	}
	page := reported(t, rows, nil)
	for _, want := range []string{
		`>105 <del>1050</del></td><td class="n">105</td>`, "Median of the cells: 105 ml.",
		`<td class="n">4</td><td>water given</td><td class="n">1050 ml</td><td class="n">105 ml</td><td>Ana</td><td>one 0 too many</td>`,
		`<td>level before</td><td class="n">5.0 mm</td><td class="n">never happened</td>`, `<td class="n">630</td>`,
		"over 1 charges and visits, 2 corrections",
	} {
		mustSay(t, page, want)
	}
	mustBeWellFormed(t, page)
	_, r := kept(t, rows)
	var out bytes.Buffer
	require.NoError(t, records.TableNamed("corrections").WriteCSV(t.Context(), &out, r, logbook.Query{}))
	require.Contains(t, out.String(), "one 0 too many")
	require.Equal(t, 3, strings.Count(out.String(), "\r\n"))
	out.Reset()
	require.NoError(t, records.TableNamed("cells").WriteCSV(t.Context(), &out, r, logbook.Query{}))
	require.NotContains(t, out.String(), ",1050,")
}

// TestLocalTime: people read their own clock with its zone, and UTC beside it; where
// the two have different dates UTC has its own. Programs read UTC.
func TestLocalTime(t *testing.T) {
	v := logbook.Visit{Span: logbook.Span{
		Bay: "bay-1", Pack: "lift-24v", Start: logbook.Stamp{Wall: time.Date(2026, 3, 1, 23, 30, 0, 0, time.UTC), Trusted: true},
		End: at(30),
	}, Kind: logbook.VisitWater, By: "Ann"}
	rows := logbook.Rows{Visits: []logbook.Visit{v}, Charges: []logbook.Charge{{Span: spanAt(0, 8), LowMM: logbook.Known(-2), BareS: 60}}}
	east := time.FixedZone("CET", 3600)
	page := reported(t, rows, func(o *records.ReportOptions) { o.Zone = east })
	for _, want := range []string{
		"2026-03-01 07:00 CET\n(06:00 UTC)", "2026-03-02 00:30 CET\n(2026-03-01 23:30 UTC)", "first on 2026-03-01 07:00 CET (06:00 UTC).",
		"times in CET, with UTC in brackets",
	} {
		mustSay(t, page, want)
	}
	mustSay(t, reported(t, rows, nil), "all times UTC")
	_, r := kept(t, rows)
	var out bytes.Buffer
	require.NoError(t, records.TableNamed("visits").WriteCSV(t.Context(), &out, r, logbook.Query{}))
	require.Contains(t, out.String(), "2026-03-01T23:30:00")
	out.Reset()
	_, err := records.TableFor(words.EnglishSI(), east, "visits").WriteList(t.Context(), &out, r, logbook.Query{})
	require.NoError(t, err)
	require.Contains(t, out.String(), "2026-03-02T00:30:00+01:00")
}

// TestReportInEveryLanguage: no heading and no sentence of another language is left.
func TestReportInEveryLanguage(t *testing.T) {
	english := regexp.MustCompile(`>[^<]*\b(the|of|and|not|with|Charges|Visits|Water|Level|Median|Findings)\b[^<]*<`)
	rows := twoWeeks()
	for i := range rows.Visits {
		rows.Visits[i].Cautions, rows.Visits[i].Notes = "confirmed: park wear", "confirmed: caps"
	}
	for i := range rows.Findings {
		rows.Findings[i].Evidence = ""
	}
	for i := range rows.Refusals {
		rows.Refusals[i].Evidence, rows.Refusals[i].Value, rows.Refusals[i].Limit = "", logbook.Known(-2), logbook.Known(3)
	}
	rows.Visits[0].LateAt, rows.Visits[0].LateBy, rows.Visits[0].Origin = at(30).Wall, "Ana", logbook.ByPaper
	rows.Corrections = []logbook.Correction{{Bay: "bay-1", Visit: 1, Cell: 4, Field: logbook.CellML, Reason: "-", By: "Ana", At: at(20)}}
	for _, language := range words.Languages() {
		page := reported(t, rows, func(o *records.ReportOptions) { o.Language = language })
		require.NotContains(t, page, "⟦", language)
		require.NotContains(t, page, "%!", language)
		mustSay(t, page, fmt.Sprintf(`<html lang="%s">`, language))
		mustBeWellFormed(t, page)
		if language == "es" {
			require.Empty(t, english.FindAllString(page, -1))
			mustSay(t, page, "Confirmado: máquina aparcada")
			mustSay(t, page, "pasada del papel el 2026-03-02 12:00 por Ana")
			mustSay(t, page, ">1,282<")
		}
	}
}
