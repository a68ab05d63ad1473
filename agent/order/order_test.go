package order_test

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/order"
)

// written is what the table must contain for one order, written by hand: a field
// is its name, bounds and unit.
type written struct {
	right   string
	inVisit bool
	fields  []string
	loosens bool
}

const (
	cell    = "cell 1 to 48 1"
	ml      = "ml 0 to 2000 ml"
	gravity = "gravity 1 to 1.4 1"
	atC     = "at_c -30 to 70 °C"
	level   = "level_mm 0 to 200 mm"
	us      = "us_per_cm 0 to 50000 µS/cm"
	kind    = "water_kind 1 to 13 printable characters"
	pack    = "pack 0 to 48 printable characters"
	reason  = "reason 1 to 200 printable characters"
	lock    = "lock 1 to 5 printable characters"
	of      = "of 0 to 80 printable characters"
	nobody  = "nobody_at_pack 0 to 0 true"
	cells   = "cells 1 to 48 cells"
	doneBy  = "done_by 1 to 60 printable characters, may be left out"
	doneAt  = "done_at 20 to 35 printable characters, may be left out"
	sure    = "sure 0 to 0 true or false, may be left out"
)

var oracle = map[string]written{
	"hold":        {"look", false, []string{reason + ", may be left out"}, false},
	"unhold":      {"visit", false, nil, true},
	"lock-remove": {"release", false, []string{lock, of, reason, nobody}, true},
	"release":     {"release", false, nil, true},
	"visit-open":  {"visit", false, nil, false},
	"visit-join":  {"visit", true, nil, false},
	"visit-leave": {"visit", true, nil, true},
	"visit-close": {"visit", true, nil, true},
	"fill":        {"visit", true, []string{cell, ml, sure}, false},
	"gravity":     {"visit", false, []string{cell, gravity, atC}, true},
	"level":       {"visit", false, []string{cell, level, sure}, true},
	"quality":     {"visit", true, []string{us, kind}, false},
	"pack":        {"visit", false, []string{pack}, true},
	"correct": {"visit", false, []string{
		cell, "field 1 to 8 printable characters", reason, "visit 0 to 999999 1, may be left out",
		"value 0 to 2000 1, may be left out", "was 0 to 100000 1, may be left out", pack + ", may be left out",
	}, true},
	"accept": {"release", false, []string{reason}, true},
	"entry":  {"visit", false, []string{cells, sure, doneBy, doneAt}, true},
}

// lineOracle is what a line of an entry's cells has.
var lineOracle = []string{
	cell, ml, "how 1 to 11 printable characters", "drawn_ml 1 to 2000 ml", "dry 0 to 0 true or false", level, gravity, atC, "seen_ml 0 to 100000 ml",
}

func bounds(f *order.Field) string {
	return fmt.Sprintf("%s %v to %v %s", f.Name, f.Low, f.High, f.Unit)
}

// TestTable compares each row with what was written by hand.
func TestTable(t *testing.T) {
	for k := order.None + 1; k < order.NumKinds; k++ {
		row := k.Row()
		want, ok := oracle[row.Name]
		require.True(t, ok, "the order %q has no oracle: write one into oracle", k)
		got := written{row.Right.String(), row.InVisit, nil, row.Loosens}
		for _, f := range row.Fields {
			got.fields = append(got.fields, bounds(f))
		}
		for _, f := range row.Optional {
			got.fields = append(got.fields, bounds(f)+", may be left out")
		}
		require.Equal(t, want, got, row.Name)
		require.Equal(t, k == order.Entry, len(row.Each) > 0, row.Name)
	}
	var each []string
	for _, f := range order.Entry.Row().Each {
		each = append(each, bounds(f))
	}
	require.Equal(t, lineOracle, each)
	require.Len(t, oracle, int(order.NumKinds)-1, "an oracle without an order")
}

// TestRowsAreWhole: names, descriptions and units are present and distinct.
func TestRowsAreWhole(t *testing.T) {
	seen := map[string]bool{}
	for k := order.None + 1; k < order.NumKinds; k++ {
		row := k.Row()
		require.NotEmpty(t, row.Name, "order %d has no name", k)
		require.False(t, seen[row.Name], row.Name)
		seen[row.Name] = true
		require.True(t, strings.HasSuffix(row.Does, "."), "%s: say in a sentence what it does", k)
		require.NotZero(t, row.Of, k)
		back, ok := order.Parse(row.Name)
		require.True(t, ok && back == k, row.Name)
	}
	for _, f := range order.AllFields() {
		require.Equal(t, f, order.FieldOf(f.Name))
		require.NotEmpty(t, f.Name)
		require.False(t, seen["field "+f.Name], f.Name)
		seen["field "+f.Name] = true
		require.NotEmpty(t, f.About, "the field %s has no description", f.Name)
		require.NotEmpty(t, f.Unit, "the field %s has no unit", f.Name)
		require.Equal(t, !f.IsFlag(), f.Low < f.High, f.Name)
		require.Equal(t, f.IsText(), f.Unit == order.Characters, f.Name)
		require.Equal(t, f.IsFlag(), f.Unit == order.YesNo || f.IsConfirmation(), f.Name)
		require.Equal(t, f.IsList(), f.Unit == order.CellLines, f.Name)
		require.Equal(t, f.IsText() && f.Low == 0, f.Empty != "", "%s: say what an empty text does", f.Name)
	}
	for _, name := range []string{"", "none", "order-3", "Hold", "hold "} {
		_, ok := order.Parse(name)
		require.False(t, ok, name)
	}
	require.Equal(t, "order-0 order-200", order.None.String()+" "+order.Kind(200).String())
}

// good returns a valid order with each field at its lower bound.
func good(k order.Kind) order.Order {
	o := order.Order{ID: "1", Kind: k, By: "A. Person"}
	for _, f := range k.Row().Fields {
		set(f, &o, f.Low)
	}
	return o
}

func set(f *order.Field, o *order.Order, v float64) {
	switch p := f.Place(o).(type) {
	case *int:
		*p = int(v)
	case *float64:
		*p = v
	case **float64:
		*p = new(v)
	case *string:
		*p = strings.Repeat("x", int(v))
		if len(f.Words) > 0 {
			*p = f.Words[0]
		}
	case *bool:
		*p = true
	case *[]order.CellEntry:
		*p = nil
		for i := range int(v) {
			*p = append(*p, order.CellEntry{Cell: i + 1, Dry: true})
		}
	}
}

// TestBounds: each field of each order at its bounds and just beyond.
func TestBounds(t *testing.T) {
	const cells = 12
	for k := order.None + 1; k < order.NumKinds; k++ {
		o := good(k)
		require.Nil(t, order.Check(&o, order.Limits{Cells: cells}), k)
		for _, f := range k.Row().Fields {
			low, high, step := f.Low, f.High, 1.0
			switch {
			case f == order.CellField:
				high = cells
			case f.IsList():
				continue // see TestEntries
			case f.IsFlag():
				continue // see TestRefusedByItself
			}
			if !f.IsWhole() && !f.IsText() {
				step = math.Abs(math.Nextafter(high, math.Inf(1)) - high)
			}
			for _, v := range []struct {
				at float64
				ok bool
			}{{low, true}, {high, true}, {low - step, false}, {high + step, false}} {
				if o := good(k); v.at >= 0 || !f.IsText() {
					set(f, &o, v.at)
					wrong := order.Check(&o, order.Limits{Cells: cells})
					if len(f.Words) == 0 {
						require.Equal(t, v.ok, wrong == nil, "%s: %s %v", k, f.Name, v.at)
					}
					if wrong != nil {
						require.Equal(t, f, wrong.Field)
						require.Equal(t, k, wrong.Kind)
						require.Equal(t, []float64{low, high}, []float64{wrong.Low, wrong.High}, f.Name)
					}
				}
			}
			if !f.IsWhole() && !f.IsText() {
				o := good(k)
				set(f, &o, math.NaN())
				require.Equal(t, order.OutOfRange, order.Check(&o, order.Limits{Cells: cells}).Code, "%s: %s that is no number", k, f.Name)
			}
		}
	}
}

// TestCellsOfTheBay: without a number of cells no cell is accepted.
func TestCellsOfTheBay(t *testing.T) {
	o := order.Order{ID: "1", By: "A", Kind: order.Fill, Cell: 1}
	require.Equal(t, order.OutOfRange, order.Check(&o, order.Limits{}).Code)
	o.Cell = 49
	require.Equal(t, order.OutOfRange, order.Check(&o, order.Limits{Cells: 60}).Code)
}

// TestRefusedByItself: orders that are refused whatever the state of the bay.
func TestRefusedByItself(t *testing.T) {
	for _, row := range []struct {
		o    order.Order
		want order.Code
		keys string
	}{
		{order.Order{By: "A", Kind: order.Hold}, order.NoID, ""},
		{order.Order{ID: "1", Kind: order.Hold}, order.NoPerson, ""},
		{order.Order{ID: "1", By: "A"}, order.NoSuchOrder, ""},
		{order.Order{ID: "1", By: "A", Kind: order.NumKinds}, order.NoSuchOrder, ""},
		{order.Order{ID: "1", By: "A", Kind: order.Quality, Unmeasured: true}, order.NothingSaid, "us_per_cm or water_kind"},
		{order.Order{ID: "1", By: "A", Kind: order.Quality, Water: "tap"}, order.BadText, "water_kind"},
		{order.Order{ID: "1", By: "A", Kind: order.Pack, Pack: "a\nb"}, order.BadText, "pack"},
		{order.Order{ID: "1", By: "A", Kind: order.Fill, Cell: 1, ML: 2001}, order.OutOfRange, "ml"},
		{order.Order{ID: "1", By: "A", Kind: order.Hold, Reason: "a\nb"}, order.BadText, "reason"},
		{order.Order{ID: "1", By: "A", Kind: order.LockRemove, Lock: "hold", NobodyAtPack: true}, order.BadText, "reason"},
		{order.Order{ID: "1", By: "A", Kind: order.LockRemove, Lock: "bay", Reason: "x", NobodyAtPack: true}, order.BadText, "lock"},
		{order.Order{ID: "1", By: "A", Kind: order.LockRemove, Lock: "hold", Reason: "x"}, order.NotConfirmed, "nobody_at_pack"},
	} {
		got := order.Check(&row.o, order.Limits{Cells: 12})
		require.NotNil(t, got, "%+v", row.o)
		require.Equal(t, row.want, got.Code)
		require.Equal(t, row.keys, got.Keys())
	}
	for _, o := range []order.Order{
		{ID: "1", By: "A", Kind: order.Quality, Unmeasured: true, USPerCM: 1e9, Water: "distilled"}, {ID: "1", By: "A", Kind: order.Quality, USPerCM: 4},
		{ID: "1", By: "A", Kind: order.Pack},
	} {
		require.Nil(t, order.Check(&o, order.Limits{Cells: 12}), "%+v", o)
	}
}

// TestGiven: every missing field and every stray one, for every order.
func TestGiven(t *testing.T) {
	for k := order.None; k < order.NumKinds; k++ {
		row, all := k.Row(), map[string]bool{}
		if row == nil {
			row = &order.Row{}
		}
		for _, f := range row.Fields {
			all[f.Name] = true
		}
		require.Nil(t, order.Given(k, func(name string) bool { return all[name] }), k)
		for _, f := range order.Fields() {
			changed := func(name string) bool { return all[name] != (name == f.Name) }
			why := order.Given(k, changed)
			switch {
			case slices.Contains(row.Optional, f):
				require.Nil(t, why)
			case !row.Takes(f):
				require.Equal(t, &order.Refusal{Code: order.Stray, Kind: k, Field: f}, why)
			case row.AnyOf:
				require.Nil(t, why)
			default:
				require.Equal(t, &order.Refusal{Code: order.Missing, Kind: k, Field: f, Low: f.Low, High: f.High}, why)
			}
		}
		if row.AnyOf {
			require.Equal(t, order.NothingSaid, order.Given(k, func(string) bool { return false }).Code)
		}
	}
}

// TestLeaveOut records what was not given, and changes no other order.
func TestLeaveOut(t *testing.T) {
	for k := order.None; k < order.NumKinds; k++ {
		o := order.Order{Kind: k}
		o.LeaveOut(func(string) bool { return true })
		require.Equal(t, order.Order{Kind: k, Unmeasured: k == order.Quality}, o)
		o = order.Order{Kind: k}
		o.LeaveOut(func(string) bool { return false })
		require.Equal(t, order.Order{Kind: k}, o)
	}
}

// TestRights: each right by hand, and no right allows an unknown order.
func TestRights(t *testing.T) {
	for k := order.None; k <= order.NumKinds; k++ {
		for _, r := range append(order.Rights(), order.NoRight, 200) {
			want := false
			switch name := oracle[k.String()].right; r {
			case order.MayLook:
				want = name == "look"
			case order.MayVisit:
				want = name == "look" || name == "visit"
			case order.MayRelease, 200:
				want = name != ""
			case order.NoRight:
			}
			require.Equal(t, want, r.Allows(k), "%s: %s", r, k)
		}
	}
	for _, r := range order.Rights() {
		require.Equal(t, r, order.ParseRight(r.String()))
	}
	for _, name := range []string{"none", "", "Visit"} {
		require.Equal(t, order.NoRight, order.ParseRight(name))
	}
}

// TestLateSheet: a sheet that is typed in afterwards has a person and a time of its
// own, or neither.
func TestLateSheet(t *testing.T) {
	for _, row := range []struct {
		by, at string
		late   bool
		field  *order.Field
	}{
		{"", "", false, nil},
		{"Ramón", "2026-03-01T14:30:00Z", true, nil},
		{"Ramón", "2026-03-01T14:30:00+01:00", true, nil},
		{"Ramón", "", true, order.DoneAtField},
		{"", "2026-03-01T14:30:00Z", true, order.DoneByField},
		{"Ramón", "2026-03-01", true, order.DoneAtField},
		{"Ramón", "yesterday at half past two", true, order.DoneAtField},
		{"a\nb", "2026-03-01T14:30:00Z", true, order.DoneByField},
	} {
		o := order.Order{ID: "1", By: "Ann", Kind: order.Entry, DoneBy: row.by, DoneAt: row.at, Cells: []order.CellEntry{{Cell: 1, ML: new(100.0)}}}
		require.Equal(t, row.late, o.Late())
		why := order.Check(&o, order.Limits{Cells: 12})
		if row.field == nil {
			require.Nil(t, why, "%+v", row)
			continue
		}
		require.NotNil(t, why, "%+v", row)
		require.Equal(t, row.field, why.Field)
	}
}

// TestEveryCodeHasAName of its own.
func TestEveryCodeHasAName(t *testing.T) {
	names := map[string]bool{}
	for c := order.NoCode; c < order.NumCodes; c++ {
		require.NotEmpty(t, c.String(), "refusal %d has no name", c)
		require.False(t, names[c.String()], c)
		names[c.String()] = true
		require.Equal(t, c, order.ParseCode(c.String()))
	}
	require.Equal(t, order.NoCode, order.ParseCode("refusal-99"))
	require.Equal(t, "refusal-99", order.Code(99).String())
}

// TestMembers: an order is restored completely from the members that a message
// carries, and NaN and infinity are not carried.
func TestMembers(t *testing.T) {
	for k := order.None + 1; k < order.NumKinds; k++ {
		o := order.Order{Kind: k}
		for i, f := range k.Row().Fields {
			set(f, &o, f.Low+float64(i))
		}
		text, err := json.Marshal(o.Members())
		require.NoError(t, err)
		var members map[string]any
		require.NoError(t, json.Unmarshal(text, &members))
		back := order.Order{Kind: k}
		back.Put(members)
		require.Equal(t, o, back)
		back.Put(map[string]any{"cell": "x", "ml": "x", "pack": 7.0, "gravity": nil, "new": 1.0})
	}
	o := order.Order{Kind: order.Quality, Unmeasured: true, Water: "other"}
	require.Equal(t, map[string]any{"water_kind": "other"}, o.Members())
	o = order.Order{Kind: order.Fill, Cell: 1, ML: math.NaN()}
	require.Equal(t, map[string]any{"cell": 1.0}, o.Members())
	o = order.Order{}
	o.Put(map[string]any{"cell": 1e300})
	require.Zero(t, o.Cell)
	require.Empty(t, o.Members())
}

// TestConfirmed checks what the record contains of a visit's cautions: their keys.
func TestConfirmed(t *testing.T) {
	for name, want := range map[order.Kind]string{
		order.LockRemove: "confirmed: nobody",
		order.VisitJoin:  "confirmed: wear metal spark",
		order.VisitOpen:  "confirmed: park lock wear metal wash spark air calm",
		order.VisitClose: "confirmed: caps spills latch",
		order.Fill:       "",
	} {
		require.Equal(t, want, name.Row().Confirmed())
	}
}

func TestPrintable(t *testing.T) {
	for text, want := range map[string]bool{
		"A. Person": true, strings.Repeat("ä", 60): true, "A B": true,
		"": false, " A": false, "A ": false, " ": false, strings.Repeat("ä", 61): false, "A\nB": false, "A\x1b[2J": false, "\xff": false,
	} {
		require.Equal(t, want, order.Printable(text, order.MaxNameRunes), "%q", text)
	}
}
