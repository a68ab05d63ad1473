package assembly

import (
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/logbook"
	"bayward/agent/web"
)

// TestClosedVisitsOfThePage: the page gets the newest closed visits of the pack, with
// the values that count now, and no open one.
func TestClosedVisitsOfThePage(t *testing.T) {
	b, err := logbook.Open(t.Context(), filepath.Join(t.TempDir(), "l.db"), slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer b.Close()
	at := func(h int) logbook.Stamp {
		return logbook.Stamp{Wall: time.Date(2026, 3, 1, h, 0, 0, 0, time.UTC), Trusted: true, BootID: "b", Mono: time.Duration(h) * time.Hour}
	}
	span := func(pack string, h int) logbook.Span {
		return logbook.Span{Bay: "bay-1", Pack: pack, Origin: logbook.ByAgent, Start: at(h), End: at(h + 1)}
	}
	open := logbook.Visit{Span: span("lift-a", 9), By: "Bob", Kind: logbook.VisitWater}
	open.End = logbook.Stamp{}
	write := func(rows logbook.Rows) {
		require.NoError(t, b.Write(t.Context(), logbook.Entry{Bay: "bay-1", Stamp: at(10), Rows: rows}))
	}
	write(logbook.Rows{Visits: []logbook.Visit{
		{Span: span("lift-a", 1), By: "Ann", Kind: logbook.VisitWater, Cells: []logbook.VisitCell{
			{Cell: 1, ML: logbook.Known(1170), BeforeMM: logbook.Known(4), AfterMM: logbook.Known(13)},
			{Cell: 2, BeforeMM: logbook.Known(5), DrawnML: logbook.Known(30), Gravity: logbook.Known(1.265), AtC: logbook.Known(25)},
			{Cell: 3, BeforeMM: logbook.Known(5), DryAfter: true},
		}},
		{Span: span("lift-b", 3), By: "Ann", Kind: logbook.VisitWater},
	}})
	write(logbook.Rows{Visits: []logbook.Visit{open}})
	write(logbook.Rows{Corrections: []logbook.Correction{{Bay: "bay-1", Visit: 1, Cell: 1, Field: logbook.CellML, New: logbook.Known(117), By: "Ann", Reason: "-", At: at(10)}}})
	got, err := closedVisits(t.Context(), b.Reader, "lift-a")
	require.NoError(t, err)
	require.Equal(t, []web.ClosedVisit{{ID: 1, By: "Ann", Start: at(1).Wall, Cells: []web.ClosedCell{
		{Cell: 1, Values: map[string]float64{"ml": 117, "level_mm": 13}},
		{Cell: 2, Values: map[string]float64{"drawn_ml": 30, "level_mm": 5, "gravity": 1.265}},
	}}}, got)
}
