package logbook

import (
	"context"
	"iter"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// spanAt returns a span of ten minutes that began at minute n.
func spanAt(n int, bayName, pack string) Span {
	return Span{Bay: bayName, Pack: pack, Origin: ByAgent, Start: minute(n), End: minute(n + 10)}
}

func minute(n int) Stamp {
	return Stamp{
		Wall: time.Date(2026, 3, 1, 6, n, 0, 0, time.UTC), Trusted: true,
		BootID: "5f0c3b1e", Mono: time.Duration(n) * time.Minute,
	}
}

func someCharge(n int) Charge {
	return Charge{
		Span: spanAt(n, "bay-1", "lift-24v"), InAh: Known(101.25), GassingAh: Known(20.5), WaterML: Known(6.9),
		Depth: Known(0.45), StartC: Known(24), EndC: Known(38.5), MaxC: Known(41), LowMM: Known(7.5),
		FlowS: 28000, BareS: 0, BlindS: 12, Full: true, Evidence: "steady-taper", Ended: EndedFull, Notes: `O'Neil, "Zoë" 张`,
	}
}

func someVisit(n int) Visit {
	return Visit{
		Span: spanAt(n, "bay-1", "lift-24v"), Kind: VisitWater, By: `O'Neil, "Zoë" 张`, ClosedBy: "ana\nb", Cautions: "Confirmed: gloves.",
		Water: "demineralised", USPerCM: Known(2.5), BeforeMM: Known(4), AfterMM: Known(13), TotalML: 310, Notes: "a\nb",
		Cells: []VisitCell{
			{
				Cell: 1, ML: Known(150), BeforeMM: Known(3), AfterMM: Known(13), Gravity: Known(1.265), AtC: Known(31),
				How: "measured", DrawnML: Known(20), DryBefore: true, DryAfter: true, Verdict: "as-full", By: "Ann\nBob",
			},
			{Cell: 2, ML: Known(0)},
			{Cell: 12, ML: Known(160), Gravity: Known(1.25), AtC: Known(30)},
		},
	}
}

func someSeries(n int) Series {
	return Series{
		Bay: "bay-1", Pack: "lift-24v", Start: minute(n), SpanS: 600, Ticks: 600, Stage: "charging", PermitS: 599,
		PackV: Known(25.9), PackVMin: Known(25.1), PackVMax: Known(26.2), CurrentA: Known(30), CurrentAMin: Known(29),
		CurrentAMax: Known(31), PackC: Known(30), PackCMax: Known(31), AmbientC: Known(20), LevelMM: Known(9), LevelMMMin: Known(8.5),
		HydrogenPctMax: Known(0.2), SettledMM: Known(8), PredictMM: Known(8.2), LostML: Known(40), Soc: Known(0.7),
	}
}

func allOf[T any](t *testing.T, seq iter.Seq2[T, error]) []T {
	t.Helper()
	var out []T
	for row, err := range seq {
		require.NoError(t, err)
		out = append(out, row)
	}
	return out
}

func writeRows(t *testing.T, b *Book, rows Rows) {
	t.Helper()
	require.NoError(t, b.Write(t.Context(), Entry{Bay: "bay-1", Pack: "lift-24v", Stamp: minute(0), Rows: rows}))
}

// A field that the tables forget comes back empty, so every field of every sample
// must be set.
func TestRowsKeepEveryField(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	charge, visit, series := someCharge(1), someVisit(2), someSeries(3)
	charge.BareS, charge.Code = 3, "pack-hot"
	finding := Finding{
		Span: spanAt(4, "bay-1", "lift-24v"), Code: "pack-hot", Blocks: true, Latched: true,
		Found: Found{Reason: "by-current", Value: Known(53.5), Limit: Known(38), Fault: "open"}, Evidence: "It is hot.",
	}
	refusal := Refusal{
		Span: spanAt(5, "bay-1", "lift-24v"), Code: "plates-bare", Codes: []string{"plates-bare", "pack-hot"},
		Found: Found{Reason: "by-current", Value: Known(-2), Limit: Known(3), Fault: "none"}, Evidence: "The plates are bare.", Ended: RefusalGranted,
	}
	visit.LateAt, visit.LateBy = minute(9).Wall, "Zoë"
	correction := Correction{
		Bay: "bay-1", Pack: "lift-24v", Visit: 1, Cell: 1, Field: CellML, Old: Known(1500), New: Known(150), Applied: true,
		Reason: "a slip of the digit", By: "Ann", At: minute(6),
	}
	visit.Corrections = []Correction{correction}
	for name, sample := range map[string]any{
		"charge": charge, "visit": visit, "cell": visit.Cells[0], "correction": correction, "finding": finding, "refusal": refusal, "series": series,
	} {
		mustBeSet(t, name, reflect.ValueOf(sample))
	}
	writeRows(t, b, Rows{[]Charge{charge}, []Visit{visit}, []Finding{finding}, []Refusal{refusal}, []Series{series}, []Correction{correction}})
	for _, s := range []*Span{&charge.Span, &visit.Span, &finding.Span, &refusal.Span} {
		s.ID = 1
	}
	series.ID, correction.ID, visit.Corrections[0].ID = 1, 1, 1
	require.Equal(t, []Correction{correction}, allOf(t, b.Corrections(t.Context(), Query{})))
	require.Equal(t, []Charge{charge}, allOf(t, b.Charges(t.Context(), Query{})))
	require.Equal(t, []Visit{visit}, allOf(t, b.Visits(t.Context(), Query{})))
	require.Equal(t, []Finding{finding}, allOf(t, b.Findings(t.Context(), Query{})))
	require.Equal(t, []Refusal{refusal}, allOf(t, b.Refusals(t.Context(), Query{})))
	require.Equal(t, []Series{series}, allOf(t, b.Series(t.Context(), Query{})))
}

// mustBeSet requires each field of a sample to differ from its zero value; the id
// is assigned by the file.
func mustBeSet(t *testing.T, name string, v reflect.Value) {
	t.Helper()
	for i := range v.NumField() {
		f := v.Type().Field(i)
		switch {
		case f.Name == "ID":
		case f.Type.Kind() == reflect.Struct && f.Type != reflect.TypeFor[time.Time]():
			mustBeSet(t, name+"."+f.Name, v.Field(i))
		case v.Field(i).IsZero():
			t.Errorf("%s.%s is not set in the sample", name, f.Name)
		}
	}
}

func TestOpenRowIsReplacedAndClosed(t *testing.T) {
	path := filepath.Join(inMemory(t), "l.db")
	b := openBook(t, path)
	for n := range 3 {
		c, v := someCharge(1), someVisit(1)
		c.End, v.End = Stamp{}, Stamp{}
		c.InAh, v.TotalML = Known(float64(n)), float64(n)
		v.Cells = v.Cells[:n+1]
		hot := Finding{Span: spanAt(n, "bay-1", ""), Code: "pack-hot", Evidence: itoa(n)}
		bare := hot
		hot.End, bare.End, bare.Code = Stamp{}, Stamp{}, "plates-bare"
		writeRows(t, b, Rows{Charges: []Charge{c}, Visits: []Visit{v}, Findings: []Finding{hot, bare}})
		closeBook(t, b)
		b = openBook(t, path)
	}
	all, err := b.OpenRows(t.Context())
	require.NoError(t, err)
	open := all["bay-1"]
	require.Len(t, open.Charges, 1)
	require.Len(t, open.Visits, 1)
	require.Len(t, open.Findings, 2)
	require.Equal(t, 2.0, *open.Charges[0].InAh)
	require.Len(t, open.Visits[0].Cells, 3)
	require.True(t, open.Charges[0].Open())
	require.Len(t, all, 1)

	writeRows(t, b, Rows{Charges: []Charge{someCharge(1)}, Visits: []Visit{someVisit(1)}, Findings: []Finding{
		{Span: spanAt(0, "bay-1", ""), Code: "pack-hot"},
	}})
	writeRows(t, b, Rows{Charges: []Charge{someCharge(30)}})
	other := Finding{Span: spanAt(2, "bay-2", ""), Code: "held"}
	other.End = Stamp{}
	require.NoError(t, b.Write(t.Context(), Entry{Bay: "bay-2", Rows: Rows{Findings: []Finding{other}}}))
	require.Len(t, allOf(t, b.Charges(t.Context(), Query{})), 2)
	require.Len(t, allOf(t, b.Visits(t.Context(), Query{})), 1)
	require.Len(t, allOf(t, b.Findings(t.Context(), Query{})), 3)
	all, err = b.OpenRows(t.Context())
	require.NoError(t, err)
	open = all["bay-1"]
	require.Len(t, open.Findings, 1)
	require.Equal(t, "plates-bare", open.Findings[0].Code)
	require.Empty(t, open.Charges)
	require.Len(t, all["bay-2"].Findings, 1)
	require.Equal(t, "held", all["bay-2"].Findings[0].Code)
}

// Imported rows are closed and must not replace open ones.
func TestImportLeavesOpenRows(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	now, old := someCharge(100), someCharge(1)
	now.End = Stamp{}
	old.Origin = ByImport
	writeRows(t, b, Rows{Charges: []Charge{now}})
	writeRows(t, b, Rows{Charges: []Charge{old}})
	got := allOf(t, b.Charges(t.Context(), Query{}))
	require.Len(t, got, 2)
	require.Equal(t, ByImport, got[0].Origin)
	require.True(t, got[1].Open())
	mustHold(t, b.Reader, 1)
}

func TestQueries(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	var rows Rows
	for n := range 3 * page { // more than one page, from two bays and packs
		c := someCharge(n * 20)
		c.Bay, c.Pack = "bay-"+itoa(n%2), "pack-"+itoa(n%3)
		if n == 7 {
			c.Start.Wall, c.Start.Trusted = time.UnixMilli(0).UTC(), false
		}
		rows.Charges = append(rows.Charges, c)
	}
	writeRows(t, b, rows)
	ask := func(q Query) []int64 {
		var ids []int64
		for _, c := range allOf(t, b.Charges(t.Context(), q)) {
			ids = append(ids, c.ID)
		}
		return ids
	}
	all := ask(Query{})
	require.Len(t, all, 3*page)
	require.EqualValues(t, 8, all[0], "a clock in the past comes first")
	require.EqualValues(t, 1, all[1])
	newest := ask(Query{Newest: true})
	require.EqualValues(t, 3*page, newest[0])
	require.Len(t, newest, 3*page)
	require.Len(t, ask(Query{Limit: page + 1}), page+1)
	require.Len(t, ask(Query{Limit: 5, Newest: true}), 5)
	require.Len(t, ask(Query{Pack: "pack-1"}), page)
	require.Len(t, ask(Query{Pack: "pack-1", Bay: "bay-1"}), page/2)
	require.Empty(t, ask(Query{Pack: "no such"}))
	// 10 minutes long, one every 20: minutes 20, 40 and 60 touch 25 to 61; row 8
	// has an untrusted clock.
	require.Equal(t, []int64{8, 2, 3, 4}, ask(Query{Since: minute(25).Wall, Until: minute(61).Wall}))
	require.Equal(t, []int64{8, 3, 4}, ask(Query{Since: minute(31).Wall, Until: minute(61).Wall}))

	packs, err := b.Packs(t.Context())
	require.NoError(t, err)
	require.Equal(t, "lift-24v", packs[0].Name)
	require.Equal(t, PackEntry{Name: "pack-0", Bay: "bay-1", Charges: page}, packs[1])
}

// A consumer that stops, or a context that ends, ends the query.
func TestQueryCanBeLeft(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	writeRows(t, b, Rows{Charges: []Charge{someCharge(1), someCharge(30)}})
	for range b.Charges(t.Context(), Query{}) {
		break
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for _, err := range b.Charges(ctx, Query{}) {
		require.ErrorIs(t, err, context.Canceled)
	}
}

func TestEventsOfAPack(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	for n := range 600 {
		e := Entry{Bay: "bay-" + itoa(n%2), Pack: "pack-" + itoa(n%3), Stamp: minute(n), Events: someEvents(1)}
		require.NoError(t, b.Write(t.Context(), e))
	}
	require.Len(t, allOf(t, b.EachEvent(t.Context(), Query{})), 600)
	require.Len(t, allOf(t, b.EachEvent(t.Context(), Query{Bay: "bay-1"})), 300)
	got := allOf(t, b.EachEvent(t.Context(), Query{Pack: "pack-2", Since: minute(300).Wall, Until: minute(600).Wall}))
	require.Len(t, got, 100)
	require.Equal(t, "pack-2", got[0].Pack)
	require.Len(t, allOf(t, b.EachEvent(t.Context(), Query{Limit: 7})), 7)
}

func TestPackMemory(t *testing.T) {
	b := openBook(t, filepath.Join(inMemory(t), "l.db"))
	none, err := b.LoadPackMemory(t.Context(), "lift-24v")
	require.NoError(t, err)
	require.Nil(t, none)
	for n, name := range []string{"bay-1", "bay-2"} {
		require.NoError(t, b.Write(t.Context(), Entry{Bay: name, Pack: "lift-24v", Stamp: minute(n), PackMemory: []byte(name)}))
		m, err := b.LoadPackMemory(t.Context(), "lift-24v")
		require.NoError(t, err)
		require.Equal(t, &Stored{State: []byte(name), Bay: name, Stamp: minute(n), Whole: true}, m)
	}
	require.Error(t, b.Write(t.Context(), Entry{Bay: "bay-1", Stamp: minute(1), PackMemory: []byte("x")}))
}

func TestDry(t *testing.T) {
	for name, c := range map[string]struct {
		charge     Charge
		dry, known bool
	}{
		"covered all the time": {Charge{LowMM: Known(3)}, false, true},
		"bare once":            {Charge{LowMM: Known(-1), BareS: 4}, true, true},
		"bare and blind":       {Charge{LowMM: Known(-1), BareS: 4, BlindS: 9}, true, true},
		"blind for a while":    {Charge{LowMM: Known(3), BlindS: 9}, false, false},
		"never seen":           {Charge{}, false, false},
	} {
		if dry, known := c.charge.Dry(); dry != c.dry || known != c.known {
			t.Errorf("%s: dry %v, known %v; want %v, %v", name, dry, known, c.dry, c.known)
		}
	}
}
