package web_test

import (
	"fmt"
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/web"
	"bayward/agent/words"
)

// lineForm is how the page's forms send what was done at a cell, and the lines of
// the one entry that it becomes.
type lineForm struct {
	name string
	form func(u *words.Units) url.Values
	want []order.CellEntry
}

func inUnits(m words.Measure, si float64) []string { return []string{fmt.Sprint(m.Of(si))} }

var lineForms = []lineForm{
	{"measured", func(u *words.Units) url.Values {
		return url.Values{"action": {"cell"}, "cell": {"2"}, "given": {"0"}, "ml": inUnits(u.Volume, 90), "how": {"measured"}, "after": inUnits(u.Length, 12)}
	}, []order.CellEntry{{Cell: 2, ML: new(90.0), How: order.Measured, LevelMM: new(12.0), SeenML: new(0.0)}}},
	{"the first button", func(u *words.Units) url.Values {
		return url.Values{"action": {"cell"}, "cell": {"2"}, "ml": inUnits(u.Volume, 90)}
	}, []order.CellEntry{{Cell: 2, ML: new(90.0), How: order.Measured}}},
	{"to the mark", func(*words.Units) url.Values {
		return url.Values{"action": {"cell"}, "cell": {"2"}, "how": {"to-mark"}}
	}, []order.CellEntry{{Cell: 2, How: order.ToMark}}},
	{"as proposed", func(*words.Units) url.Values {
		return url.Values{"action": {"cell"}, "cell": {"2"}, "how": {"as-proposed"}}
	}, []order.CellEntry{{Cell: 2, How: order.AsProposed, ML: new(91.0)}}}, // from 6 mm to 13 mm on 130 cm²
	{"drawn off", func(u *words.Units) url.Values {
		return url.Values{"action": {"cell"}, "cell": {"2"}, "how": {"measured"}, "drawn": inUnits(u.Volume, 40)}
	}, []order.CellEntry{{Cell: 2, DrawnML: new(40.0)}}},
	{"read before", func(u *words.Units) url.Values {
		return url.Values{"action": {"before"}, "cell": {"2"}, "level": inUnits(u.Length, 5), "gravity": {"1265"}, "at": inUnits(u.Temperature, 26)}
	}, []order.CellEntry{{Cell: 2, LevelMM: new(5.0), Gravity: new(1.265), AtC: new(26.0)}}},
	{"dry", func(*words.Units) url.Values {
		return url.Values{"action": {"before"}, "cell": {"2"}, "dry": {"yes"}}
	}, []order.CellEntry{{Cell: 2, Dry: true}}},
	{"sheet", func(u *words.Units) url.Values {
		return url.Values{
			"action": {"sheet"}, "how": {"as-proposed"}, "ml-1": inUnits(u.Volume, 90), "after-1": inUnits(u.Length, 12), "given-1": {"0"},
			"ml-2": {""}, "after-2": {""}, "given-2": {"0"}, "mark-4": {"yes"}, "given-4": {"0"},
		}
	}, []order.CellEntry{
		{Cell: 1, ML: new(90.0), How: order.AsProposed, LevelMM: new(12.0), SeenML: new(0.0)}, {Cell: 4, How: order.ToMark, SeenML: new(0.0)},
	}},
}

// newEntryDesk is a page whose visit fills to the mark.
func newEntryDesk(t *testing.T, change func(*web.Options)) *desk {
	t.Helper()
	d := newDesk(t, order.Entry, change)
	d.change("bay-1", ready)
	d.change("bay-1", func(p *bay.Picture) {
		for i := range 12 {
			p.Water.NeedML[i] = 91
		}
	})
	return d
}

// TestEveryLineByForm: each form about a cell gives one entry, with all that was
// typed, in every system of units.
func TestEveryLineByForm(t *testing.T) {
	for _, row := range lineForms {
		for _, units := range words.Systems() {
			d := newEntryDesk(t, func(o *web.Options) { o.Units = units })
			form := row.form(words.UnitsOf(units))
			form.Set("by", "A. Person")
			form.Set("sure", "yes") // the core of this test knows another level
			w := d.form(visit, form.Encode())
			require.Equal(t, http.StatusSeeOther, w.Code, "%s: %s", row.name, text(t, w))
			require.Len(t, d.asked, 1, row.name)
			require.Equal(t, order.Entry, d.asked[0].Kind)
			require.Len(t, d.asked[0].Cells, len(row.want))
			for i, got := range d.asked[0].Cells {
				sameLine(t, row.want[i], got, row.name+" "+units)
			}
		}
	}
}

func sameLine(t *testing.T, want, got order.CellEntry, about string) {
	t.Helper()
	for _, pair := range [][2]*float64{
		{want.ML, got.ML}, {want.DrawnML, got.DrawnML}, {want.LevelMM, got.LevelMM}, {want.Gravity, got.Gravity}, {want.AtC, got.AtC}, {want.SeenML, got.SeenML},
	} {
		require.Equal(t, pair[0] == nil, pair[1] == nil, about)
		if pair[0] != nil {
			require.InDelta(t, *pair[0], *pair[1], 1e-9, about)
		}
	}
	require.Equal(t, []any{want.Cell, want.How, want.Dry}, []any{got.Cell, got.How, got.Dry}, about)
}

// TestEveryBoundOfALineByForm: each number of a line at and just beyond its bounds.
func TestEveryBoundOfALineByForm(t *testing.T) {
	measure := func(f *order.Field, u *words.Units) words.Measure { return words.New("en", u.Name).Typed(f.Unit) }
	for box, of := range map[string]*order.Field{
		"ml": order.MLField, "after": order.LevelField, "drawn": order.DrawnField, "level": order.LevelField, "gravity": order.GravityField, "at": order.AtCField,
	} {
		for _, units := range words.Systems() {
			for value, good := range map[float64]bool{of.Low: true, of.High: true, of.Low - 0.001*(of.High-of.Low): false, of.High + 0.001*(of.High-of.Low): false} {
				d := newEntryDesk(t, func(o *web.Options) { o.Units = units })
				form := url.Values{"action": {"cell"}, "cell": {"2"}, "by": {"A"}, "sure": {"yes"}, box: inUnits(measure(of, words.UnitsOf(units)), value)}
				switch box {
				case "level", "gravity", "at":
					form.Set("action", "before")
				}
				for other, text := range map[string]string{"gravity": "1.26", "at": "26"} {
					if box != other && (box == "at" || box == "gravity") {
						form.Set(other, text)
					}
				}
				w := d.form(visit, form.Encode())
				if !good {
					require.Equal(t, http.StatusBadRequest, w.Code, "%s %s: %g", units, box, value)
					require.Empty(t, d.asked)
					require.Contains(t, text(t, w), "Not recorded.")
					continue
				}
				require.Len(t, d.asked, 1, "%s %s: %g: %s", units, box, value, text(t, w))
			}
		}
	}
}
