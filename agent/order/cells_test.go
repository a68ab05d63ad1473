package order_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/order"
)

// fault is what is wrong with one line, as the oracle writes it.
type fault struct {
	cell  int
	field string
	code  order.Code
	value float64
}

// TestEntries: every fault of every line is named by its cell and its field, and a
// line with no fault gives none.
func TestEntries(t *testing.T) {
	for name, row := range map[string]struct {
		cells string
		want  []fault
	}{
		"all of it": {`[{"cell":1,"ml":110,"how":"measured","drawn_ml":1,"level_mm":13,"gravity":1.27,"at_c":25,"seen_ml":0}]`, nil},
		"each alone": {`[{"cell":1,"ml":0},{"cell":2,"how":"to-mark"},{"cell":3,"drawn_ml":20},{"cell":4,"level_mm":0},{"cell":5,"dry":true},
			{"cell":6,"gravity":1.2,"at_c":-30},{"cell":7,"ml":5,"how":"as-proposed"},{"cell":8,"dry":true,"ml":60,"level_mm":4},{"cell":9,"dry":true,"how":"to-mark","level_mm":12}]`, nil},
		"empty":        {`[{"cell":1}]`, []fault{{1, "", order.NothingSaid, 0}}},
		"not dry":      {`[{"cell":1,"dry":false}]`, []fault{{1, "", order.NothingSaid, 0}}},
		"only seen":    {`[{"cell":1,"seen_ml":0}]`, []fault{{1, "", order.NothingSaid, 0}}},
		"no list":      {`[]`, []fault{{0, "cells", order.OutOfRange, 0}}},
		"200.5 mm":     {`[{"cell":1,"level_mm":200.5}]`, []fault{{1, "level_mm", order.OutOfRange, 200.5}}},
		"-12 mm":       {`[{"cell":4,"level_mm":-12}]`, []fault{{4, "level_mm", order.BelowTops, -12}}},
		"no such cell": {`[{"cell":13,"ml":5},{"cell":0,"dry":true}]`, []fault{{13, "cell", order.OutOfRange, 13}, {0, "cell", order.OutOfRange, 0}}},
		"twice":        {`[{"cell":4,"ml":5},{"cell":5,"ml":5},{"cell":4,"ml":5}]`, []fault{{4, "cell", order.CellTwice, 4}}},
		"two and two": {`[{"cell":1,"ml":-1,"level_mm":300},{"cell":2,"ml":5},{"cell":3,"gravity":2,"at_c":99}]`,
			[]fault{{1, "ml", order.OutOfRange, -1}, {1, "level_mm", order.OutOfRange, 300}, {3, "gravity", order.OutOfRange, 2}, {3, "at_c", order.OutOfRange, 99}}},
		"no temperature":        {`[{"cell":1,"gravity":1.2}]`, []fault{{1, "at_c", order.Missing, 0}}},
		"no gravity":            {`[{"cell":1,"at_c":20}]`, []fault{{1, "gravity", order.Missing, 0}}},
		"measured without ml":   {`[{"cell":1,"how":"measured"}]`, []fault{{1, "ml", order.Missing, 0}}},
		"proposed without ml":   {`[{"cell":1,"how":"as-proposed","level_mm":3}]`, []fault{{1, "ml", order.Missing, 0}}},
		"to the mark with ml":   {`[{"cell":1,"how":"to-mark","ml":3}]`, []fault{{1, "ml", order.Stray, 0}}},
		"how unknown":           {`[{"cell":1,"ml":3,"how":"roughly"}]`, []fault{{1, "how", order.BadText, 0}}},
		"dry and a level":       {`[{"cell":1,"dry":true,"level_mm":3}]`, []fault{{1, "dry", order.DryAndLevel, 0}}},
		"nothing drawn":         {`[{"cell":1,"drawn_ml":0}]`, []fault{{1, "drawn_ml", order.OutOfRange, 0}}},
		"more than 2 l at once": {`[{"cell":1,"ml":2001}]`, []fault{{1, "ml", order.OutOfRange, 2001}}},
	} {
		t.Run(name, func(t *testing.T) {
			o := order.Order{ID: "1", By: "A", Kind: order.Entry}
			require.NoError(t, json.Unmarshal([]byte(row.cells), &o.Cells))
			why := order.Check(&o, order.Limits{Cells: 12})
			if row.want == nil {
				require.Nil(t, why)
				return
			}
			require.NotNil(t, why)
			var got []fault
			for _, r := range why.Faults() {
				require.Equal(t, order.Entry, r.Kind)
				require.Empty(t, r.More)
				name := ""
				if r.Field != nil {
					name = r.Field.Name
				}
				got = append(got, fault{r.Cell, name, r.Code, r.Value})
			}
			require.Equal(t, row.want, got)
		})
	}
	o := order.Order{ID: "1", By: "A", Kind: order.Entry, Cells: []order.CellEntry{{Cell: 1, ML: new(math.NaN())}}}
	require.Equal(t, order.OutOfRange, order.Check(&o, order.Limits{Cells: 12}).Code)
	require.Nil(t, order.Joined(nil))
}

// TestALineIsReadStrictly: the standard decoder would take each of these.
func TestALineIsReadStrictly(t *testing.T) {
	for _, text := range []string{
		`{"cell":1,"ML":5}`, `{"cell":1,"ml":5,"ml":6}`, `{"cell":1,"ml":null}`, `{"cell":1,"mm":5}`, `{"ml":5}`, `[1,2]`, `null`, `5`,
		`{"cell":1.5,"ml":5}`, `{"cell":1,"ml":"5"}`, `{"cell":1,"dry":1}`, `{"cell":1,"cells":[]}`, `{"cell":1,"us_per_cm":5}`, `{"cell":1,"sure":true}`,
	} {
		var c order.CellEntry
		require.Error(t, c.UnmarshalJSON([]byte(text)), text)
	}
}

// TestASingleOrderIsAnEntry of one field.
func TestASingleOrderIsAnEntry(t *testing.T) {
	for _, row := range []struct {
		o    order.Order
		want order.CellEntry
	}{
		{order.Order{Kind: order.Fill, Cell: 3, ML: 40}, order.CellEntry{Cell: 3, ML: new(40.0)}},
		{order.Order{Kind: order.Level, Cell: 3, LevelMM: 9}, order.CellEntry{Cell: 3, LevelMM: new(9.0)}},
		{order.Order{Kind: order.Gravity, Cell: 3, Gravity: 1.2, AtC: 30}, order.CellEntry{Cell: 3, Gravity: new(1.2), AtC: new(30.0)}},
	} {
		require.Equal(t, []order.CellEntry{row.want}, row.o.Entries())
		require.Equal(t, row.o.Kind == order.Fill, row.want.Pours())
	}
	require.Empty(t, (&order.Order{Kind: order.Hold, Cell: 3}).Entries())
}
