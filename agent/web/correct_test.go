package web_test

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/web"
	"bayward/agent/words"
)

// TestEveryCorrectionByForm: each value of a cell can be corrected or taken back, in
// every system of units, with what it was and a reason.
func TestEveryCorrectionByForm(t *testing.T) {
	for _, units := range words.Systems() {
		u := words.UnitsOf(units)
		one := words.Measure{Num: 1, Den: 1}
		for field, row := range map[string]struct {
			was, right float64
			in         words.Measure
		}{
			"ml": {20, 12, u.Volume}, "drawn_ml": {5, 8, u.Volume}, "level_mm": {8, 6, u.Length}, "gravity": {1.265, 1.256, one},
		} {
			for _, void := range []bool{false, true} {
				b := newBench(func(o *web.Options) { o.Units = units }, "bay-1")
				b.leads(t, opening+"&by=A")
				require.Equal(t, http.StatusOK, b.post("/api/v1/bays/bay-1/visit",
					`{"action":"entry","by":"A","sure":true,"cells":[{"cell":4,"ml":20,"drawn_ml":5,"level_mm":8,"gravity":1.265,"at_c":25}]}`).Code)
				page := text(t, b.get(visit+"?cell=4"))
				require.Contains(t, page, "Correct this cell")
				page = text(t, b.get(visit+"?cell=4&step=correct"))
				require.Contains(t, page, `name="action" value="correct-`+field+`"`)
				form := url.Values{"action": {"correct-" + field}, "cell": {"4"}, "was": inUnits(one, row.was), "slip": {"typed"}, "by": {"B. Person"}, "id": {"c1"}}
				if form.Set("value", inUnits(row.in, row.right)[0]); void {
					form.Set("value", "")
					form.Set("void", "yes")
				}
				require.Equal(t, visit+"?cell=4", b.leads(t, form.Encode()), field)
				require.Equal(t, visit+"?cell=4", b.leads(t, form.Encode()), "sent twice")
				v := &b.picture("bay-1").Visit
				got := map[string]*float64{"ml": &v.GivenML[3], "drawn_ml": &v.Cells[3].DrawnML, "level_mm": v.Cells[3].LevelMM, "gravity": v.Cells[3].Gravity}[field]
				switch {
				case !void:
					require.InDelta(t, row.right, *got, 1e-9, field)
				case got != nil:
					require.Zero(t, *got, field)
				}
			}
		}
	}
}

// TestAWrongCorrectionComesBack as it was typed, and changes nothing.
func TestAWrongCorrectionComesBack(t *testing.T) {
	for body, faults := range map[string][]string{
		"action=correct-ml&cell=4&was=20&slip=typed&value=&by=A":              {"value"},
		"action=correct-ml&cell=4&was=20&slip=typed&value=plenty&by=A":        {"value"},
		"action=correct-ml&cell=4&was=20&slip=typed&value=10&void=yes&by=A":   {"value"},
		"action=correct-ml&cell=4&was=20&slip=other&why=&value=10&by=A":       {"why"},
		"action=correct-level_mm&cell=4&was=8&slip=cell&value=2001&why=&by=A": {"value"},
	} {
		b := newBench(nil, "bay-1")
		b.leads(t, opening+"&by=A")
		b.leads(t, "action=cell&cell=4&ml=20&after=8&sure=yes&by=A")
		before := b.picture("bay-1")
		w := b.form(visit, body)
		require.Equal(t, http.StatusBadRequest, w.Code, body)
		sent, err := url.ParseQuery(body)
		require.NoError(t, err)
		sent.Del("void") // a button
		shownAgain(t, text(t, w), sent, faults...)
		require.Same(t, before, b.picture("bay-1"), "an order was given")
	}
	b := newBench(nil, "bay-1")
	b.leads(t, opening+"&by=A")
	b.leads(t, "action=cell&cell=4&ml=20&by=A")
	w := b.form(visit, "action=correct-ml&cell=4&was=15&slip=typed&value=10&by=B")
	require.Equal(t, http.StatusConflict, w.Code, "another person has changed it")
	require.Equal(t, 20.0, b.picture("bay-1").Visit.GivenML[3])
	require.Equal(t, http.StatusBadRequest, b.form(visit, "action=correct-dance&cell=4&slip=typed&value=10&by=B").Code)
}
