package records_test

import (
	"flag"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/logbook"
	"bayward/agent/order"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// odd is a name with everything that breaks careless formats.
const odd = "=cmd|'/C calc'!A0, \"Zoë\"; 张\n-1"

func at(n int) logbook.Stamp {
	return logbook.Stamp{
		Wall: time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC).Add(time.Duration(n) * time.Hour), Trusted: true,
		BootID: "5f0c3b1e", Mono: time.Duration(n) * time.Hour,
	}
}

func spanAt(n, hours int) logbook.Span {
	return logbook.Span{Bay: "bay-1", Pack: "lift-24v", Origin: logbook.ByAgent, Start: at(n), End: at(n + hours)}
}

// twoWeeks is an invented record: a charge and a refusal each day, two visits, one
// finding, a reading each hour, and a charge whose clock was not set.
func twoWeeks() logbook.Rows {
	var rows logbook.Rows
	for day := range 14 {
		c := logbook.Charge{
			Span: spanAt(24*day, 9), InAh: logbook.Known(100 + float64(day)), GassingAh: logbook.Known(20), WaterML: logbook.Known(6.7),
			Depth: logbook.Known(0.5), StartC: logbook.Known(22), EndC: logbook.Known(33.5), MaxC: logbook.Known(36.25),
			LowMM: logbook.Known(14 - float64(day)), FlowS: 30000, Full: true, Evidence: "steady-taper", Ended: logbook.EndedFull,
		}
		switch day {
		case 3:
			c.LowMM, c.BlindS = nil, 600
		case 5:
			c.Start.Trusted, c.Start.Wall = false, time.Unix(40, 0).UTC()
		case 13:
			c.End, c.Ended = logbook.Stamp{}, "" // still in progress, although proven full
		}
		rows.Charges = append(rows.Charges, c)
		rows.Refusals = append(rows.Refusals, logbook.Refusal{
			Span: spanAt(24*day-1, 1), Code: "plates-bare", Codes: []string{"plates-bare", "pack-hot"},
			Evidence: "Level is 2 mm below the plate tops.", Ended: logbook.RefusalGranted,
		})
	}
	for n, by := range []string{odd, "Ann"} {
		v := logbook.Visit{
			Span: spanAt(24*7*n+12, 1), Kind: logbook.VisitWater, By: by, ClosedBy: by, Cautions: "Confirmed: face shield, gloves.",
			Water: "demineralised", USPerCM: logbook.Known(2.5), BeforeMM: logbook.Known(4), AfterMM: logbook.Known(13), Notes: odd,
		}
		for cell := 1; cell <= 12; cell++ {
			ml := 100 + float64(cell+10*n)
			v.TotalML += ml
			v.Cells = append(v.Cells, logbook.VisitCell{
				Cell: cell, ML: &ml, AfterMM: logbook.Known(13), Gravity: logbook.Known(1.27 + float64(cell)/1000), AtC: logbook.Known(31),
			})
		}
		rows.Visits = append(rows.Visits, v)
	}
	rows.Visits = append(rows.Visits, logbook.Visit{Span: spanAt(300, 0), Kind: logbook.VisitReadings, By: "Ann"})
	rows.Corrections = []logbook.Correction{{
		Bay: "bay-1", Visit: 1, Cell: 12, Field: logbook.CellAfterMM, New: logbook.Known(13.5), Reason: odd, By: "Ann", At: at(15),
	}}
	rows.Findings = []logbook.Finding{{
		Span: spanAt(30, 2), Code: "pack-hot", Blocks: true, Found: logbook.Found{Value: logbook.Known(56), Limit: logbook.Known(55)}, Evidence: "It is hot.",
	}}
	for h := range 24 * 14 {
		rows.Series = append(rows.Series, logbook.Series{
			Bay: "bay-1", Pack: "lift-24v", Start: at(h), SpanS: 3600, Ticks: 3600, Stage: "charging",
			LevelMM: logbook.Known(13 - float64(h%170)/17), LevelMMMin: logbook.Known(12.5 - float64(h%170)/17), PackV: logbook.Known(25.25),
		})
	}
	return rows
}

// kept returns a logbook with rows, closed again, so that it can be read.
func kept(t testing.TB, rows logbook.Rows) (path string, r *logbook.Reader) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "l.db")
	b, err := logbook.Open(t.Context(), path, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	require.NoError(t, b.Write(t.Context(), logbook.Entry{
		Bay: "bay-1", Pack: "lift-24v", Stamp: at(0), Rows: rows,
		Events: []bay.Event{{Kind: bay.OrderTaken, By: odd, Order: "a-1", Asked: order.Order{Kind: order.Hold}}},
	}))
	require.NoError(t, b.Close())
	r, err = logbook.OpenReadOnly(t.Context(), path)
	require.NoError(t, err)
	t.Cleanup(func() { _ = r.Close() })
	return path, r
}
