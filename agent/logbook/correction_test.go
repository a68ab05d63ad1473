package logbook

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// correct is a correction of the first visit of chained, whose cell 1 has 150 ml,
// cell 2 has 0 ml and cell 12 has 160 ml.
func correct(n, cell int, field string, value Num) Correction {
	return Correction{
		Bay: "bay-1", Visit: 1, Cell: cell, Field: field, New: value, Reason: fmt.Sprint("reason ", n), By: "Ann", At: minute(100 + n),
	}
}

// firstVisit reads the first visit of a logbook.
func firstVisit(t *testing.T, r *Reader) Visit {
	t.Helper()
	for v, err := range r.Visits(t.Context(), Query{}) {
		require.NoError(t, err)
		if v.ID == 1 {
			return v
		}
	}
	t.Fatal("no first visit")
	return Visit{}
}

func mm(c VisitCell) []Num { return []Num{c.ML, c.DrawnML, c.BeforeMM, c.AfterMM, c.Gravity} }

// TestCorrectionCounts: readers get the new value, and the old one with who, when
// and why.
func TestCorrectionCounts(t *testing.T) {
	b := openBook(t, chained(t))
	was := firstVisit(t, b.Reader)
	require.Equal(t, 310.0, was.TotalML)
	writeRows(t, b, Rows{Corrections: []Correction{
		correct(1, 1, CellML, Known(15)), correct(2, 1, CellGravity, nil), correct(3, 2, CellAfterMM, Known(9)),
		correct(4, 7, CellDrawnML, Known(30)),
	}})
	is := firstVisit(t, b.Reader)
	require.Equal(t, []Num{Known(15), was.Cells[0].DrawnML, Known(3), Known(13), nil}, mm(is.Cells[0]))
	require.Nil(t, is.Cells[0].AtC, "a gravity that never was has no temperature")
	require.Equal(t, []Num{Known(0), nil, nil, Known(9), nil}, mm(is.Cells[1]))
	require.Equal(t, []Num{nil, Known(30), nil, nil, nil}, mm(is.Cells[2]), "a cell without an entry")
	require.Equal(t, was.Cells[2], is.Cells[3])
	require.Equal(t, 175.0, is.TotalML)
	writeRows(t, b, Rows{Corrections: []Correction{correct(5, 12, CellML, nil)}})
	void := firstVisit(t, b.Reader)
	require.Equal(t, 15.0, void.TotalML)
	require.Empty(t, void.Cells[3].How, "water that never was has no measure")

	require.Len(t, is.Corrections, 4)
	first := is.Corrections[0]
	require.Equal(t, Correction{
		ID: 1, Bay: "bay-1", Pack: "lift-24v", Visit: 1, Cell: 1, Field: CellML, Old: Known(150), New: Known(15),
		Reason: "reason 1", By: "Ann", At: minute(101),
	}, first)
	require.Equal(t, Known(1.265), is.Corrections[1].Old)
	require.Nil(t, is.Corrections[1].New)
	require.Nil(t, is.Corrections[3].Old, "there was none")
	require.Len(t, is.Corrected(1, CellML), 1)
	require.Equal(t, void.Corrections, allOf(t, b.Corrections(t.Context(), Query{Pack: "lift-24v"})))
	require.Empty(t, allOf(t, b.Corrections(t.Context(), Query{Pack: "lift-99"})))
}

// TestCorrectionOfACorrection: it is of the same cell and field, the last one counts
// and each keeps what it replaced.
func TestCorrectionOfACorrection(t *testing.T) {
	b := openBook(t, chained(t))
	for n, value := range []Num{Known(1500), nil, Known(15)} {
		writeRows(t, b, Rows{Corrections: []Correction{correct(n, 1, CellML, value)}})
	}
	v := firstVisit(t, b.Reader)
	require.Equal(t, Known(15), v.Cells[0].ML)
	require.Equal(t, 175.0, v.TotalML)
	var old []Num
	for _, c := range v.Corrections {
		old = append(old, c.Old)
	}
	require.Equal(t, []Num{Known(150), Known(1500), nil}, old)
	mustHold(t, b.Reader, 5+3)
}

// TestCorrectedAfterExport: a correction after the chain was exported. What was
// noted then still verifies: the links and their hashes are a prefix of the chain,
// and by the description too.
func TestCorrectedAfterExport(t *testing.T) {
	path := chained(t)
	const links = "SELECT no || kind || ref || hex(hash) FROM chain ORDER BY no"
	exported := list(t, path, links)
	noted := byDescription(t, path)
	row := "SELECT group_concat(ml || '/' || coalesce(gravity, '')) FROM visit_cell WHERE visit_id = 1"
	original := list(t, path, row)

	b := openBook(t, path)
	writeRows(t, b, Rows{Corrections: []Correction{correct(1, 1, CellML, Known(15))}})
	c := mustHold(t, b.Reader, 6)
	require.Equal(t, 1, c.Corrected)
	closeBook(t, b)
	now := list(t, path, links)
	require.Equal(t, exported, now[:5])
	require.Contains(t, now[4], strings.ToUpper(strings.Fields(noted)[1]))
	require.Equal(t, original, list(t, path, row), "what was recorded first stays in the file")
	require.Equal(t, fmt.Sprintf("6 %s\n", c.Head), byDescription(t, path))
}

// TestCorrectionIsNeverChanged: not by mistake, and a change on purpose breaks the
// chain, as does one that another program adds.
func TestCorrectionIsNeverChanged(t *testing.T) {
	path := chained(t)
	b := openBook(t, path)
	writeRows(t, b, Rows{Corrections: []Correction{correct(1, 1, CellML, Known(15))}})
	for _, change := range []string{"UPDATE correction SET reason = ''", "DELETE FROM correction"} {
		_, err := b.durable.ExecContext(t.Context(), change)
		require.ErrorContains(t, err, "never")
	}
	closeBook(t, b)
	raw(t, path, "INSERT INTO correction SELECT 9, bay_id, pack_id, of_visit, cell, field, old_value, 1, applied, reason, person, start_wall_ms, start_trusted, start_boot_id, start_mono_ns FROM correction")
	require.Equal(t, "correction 9: it is made and not in the chain: it was added by another program.", brokenAt(t, path).String())
}

// TestCorrectionOfNothing: a visit that the record does not have, no cell, an
// unknown field, the visit of another pack: the rest of the entry is written all the same.
func TestCorrectionOfNothing(t *testing.T) {
	b := openBook(t, chained(t))
	for _, c := range []Correction{
		{Bay: "bay-1", Visit: 99, Cell: 1, Field: CellML}, {Bay: "bay-1", Visit: 1, Cell: 0, Field: CellML},
		{Bay: "bay-1", Visit: 1, Cell: 1, Field: "colour"}, {Bay: "bay-7", Cell: 1, Field: CellML},
		{Bay: "bay-1", Visit: 1, Cell: 1, Field: CellML, Pack: "lift-99"},
	} {
		c.At = minute(1)
		writeRows(t, b, Rows{Corrections: []Correction{c}, Charges: []Charge{someCharge(200)}})
	}
	require.Empty(t, allOf(t, b.Corrections(t.Context(), Query{})))
	mustHold(t, b.Reader, 5+5)
}

// TestCorrectionOfTheOpenVisit: the row has the new value already, and the old one
// stays in the correction, also after the visit is closed.
func TestCorrectionOfTheOpenVisit(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	open := someVisit(1)
	open.End = Stamp{}
	writeRows(t, b, Rows{Visits: []Visit{open}})
	open.Cells[0].ML, open.TotalML = Known(15), 175
	made := correct(1, 1, CellML, Known(15))
	made.Visit, made.Applied, made.Old = 0, true, Known(150)
	writeRows(t, b, Rows{Visits: []Visit{open}, Corrections: []Correction{made}})
	open.End = minute(30)
	writeRows(t, b, Rows{Visits: []Visit{open}})
	v := firstVisit(t, b.Reader)
	require.Equal(t, Known(15), v.Cells[0].ML)
	require.Equal(t, 175.0, v.TotalML)
	require.Equal(t, Known(150), v.Corrections[0].Old)
	mustHold(t, b.Reader, 2)
	require.Len(t, allOf(t, b.Visits(t.Context(), Query{})), 1)
}

// TestLastLevelIsCorrected: the reading after the water, or the one before it when
// there was no other; what the rod showed goes with it.
func TestLastLevelIsCorrected(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	v := someVisit(1)
	v.Cells = []VisitCell{
		{Cell: 1, BeforeMM: Known(3), AfterMM: Known(13)}, {Cell: 2, BeforeMM: Known(3)}, {Cell: 3, DryBefore: true},
		{Cell: 4, ML: Known(50), BeforeMM: Known(3), DryAfter: true}, {Cell: 5, ML: Known(50)},
	}
	writeRows(t, b, Rows{Visits: []Visit{v}})
	for cell := 1; cell <= 5; cell++ {
		writeRows(t, b, Rows{Corrections: []Correction{correct(cell, cell, CellLevelMM, Known(7))}})
	}
	is := firstVisit(t, b.Reader)
	require.Equal(t, []VisitCell{
		{Cell: 1, BeforeMM: Known(3), AfterMM: Known(7)}, {Cell: 2, BeforeMM: Known(7)}, {Cell: 3, BeforeMM: Known(7)},
		{Cell: 4, ML: Known(50), BeforeMM: Known(3), AfterMM: Known(7)}, {Cell: 5, ML: Known(50), AfterMM: Known(7)},
	}, is.Cells)
}

// TestSchema5IsCorrected: the visit of an older file in which cell 4 was given ten
// times too much.
func TestSchema5IsCorrected(t *testing.T) {
	path := older(t, 5)
	before := byDescription(t, path)
	b := openBook(t, path)
	c := mustHold(t, b.Reader, 9)
	require.Equal(t, before, fmt.Sprintf("%d %s\n", c.Rows, c.Head), "no link was made again")
	made := correct(1, 4, CellML, Known(117))
	made.Visit = 4
	writeRows(t, b, Rows{Corrections: []Correction{made}})
	for v, err := range b.Visits(t.Context(), Query{Bay: "bay-2"}) {
		require.NoError(t, err)
		require.Equal(t, int64(4), v.ID)
		require.Equal(t, "lift-24v", v.Corrections[0].Pack, "the pack of the visit")
		require.Equal(t, VisitCell{Cell: 4, ML: Known(117), How: "measured", BeforeMM: Known(5), Gravity: Known(1.264), AtC: Known(31)}, v.Cells[3])
		require.InDelta(t, 1357.5-1170+117, v.TotalML, 1e-9)
	}
}
