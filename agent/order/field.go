package order

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"bayward/agent/water"
)

// Unit is the unit of a field.
type Unit string

// The units of fields. One is for counts and ratios, which have none.
const (
	One          Unit = "1"
	Millilitres  Unit = "ml"
	Millimetres  Unit = "mm"
	Celsius      Unit = "°C"
	Conductivity Unit = "µS/cm"
	Characters   Unit = "printable characters"
	YesNo        Unit = "true or false"
	Confirmed    Unit = "true"
	CellLines    Unit = "cells"
)

// Field is one item of an order besides the person who gives it.
type Field struct {
	Name  string // in messages, such as "level_mm"
	About string // what it is, for users
	Unit  Unit
	// Low and High are the bounds, both inclusive: for a number in its Unit, for a
	// text its number of characters.
	Low, High float64
	Words     []string // the only texts accepted; none: any
	Empty     string   // what an empty text does, where accepted

	form  func(text string) bool      // the form of a text; nil: any
	place func(*Order) any            // *int, *float64, *string, *bool or *[]CellEntry; nil: only in a line of cells
	in    func(*CellEntry) any        // *int, **float64, *string or *bool; nil: not in a line of cells
	left  func(*Order) *bool          // records that it was left out; nil: an empty text does
	most  func(Limits) (high float64) // a bound below High that depends on the bay
}

// The fields.
var (
	CellField = &Field{
		Name: "cell", About: "the cell, from the positive end", Unit: One, Low: 1, High: water.MaxCells,
		place: func(o *Order) any { return &o.Cell }, in: func(c *CellEntry) any { return &c.Cell }, most: func(l Limits) float64 { return float64(l.Cells) },
	}
	// MLField is bounded to catch typing errors.
	MLField = &Field{
		Name: "ml", About: "water given", Unit: Millilitres, Low: 0, High: 2000,
		place: func(o *Order) any { return &o.ML }, in: func(c *CellEntry) any { return &c.ML },
	}
	GravityField = &Field{
		Name: "gravity", About: "specific gravity as read", Unit: One, Low: 1, High: 1.4,
		place: func(o *Order) any { return &o.Gravity }, in: func(c *CellEntry) any { return &c.Gravity },
	}
	AtCField = &Field{
		Name: "at_c", About: "temperature of the electrolyte", Unit: Celsius, Low: -30, High: 70,
		place: func(o *Order) any { return &o.AtC }, in: func(c *CellEntry) any { return &c.AtC },
	}
	// LevelField begins at the plate tops: below them a level rod has nothing to read.
	LevelField = &Field{
		Name: "level_mm", About: "electrolyte above the plate tops by the level rod", Unit: Millimetres, Low: 0, High: 200,
		place: func(o *Order) any { return &o.LevelMM }, in: func(c *CellEntry) any { return &c.LevelMM },
	}
	// USPerCMField ends at the conductivity of sea water: 50,000 µS/cm.
	USPerCMField = &Field{
		Name: "us_per_cm", About: "conductivity of the water", Unit: Conductivity, Low: 0, High: 50000,
		place: func(o *Order) any { return &o.USPerCM }, left: func(o *Order) *bool { return &o.Unmeasured },
	}
	WaterField = &Field{
		Name: "water_kind", About: "what kind of water it is", Unit: Characters, Low: 1, High: 13,
		Words: []string{"demineralised", "distilled", "other"},
		place: func(o *Order) any { return &o.Water },
	}
	PackField = &Field{
		Name: "pack", About: "the name of the pack that is plugged in, one of the bay's packs", Unit: Characters, Low: 0, High: 48,
		Empty: "takes back what was said",
		place: func(o *Order) any { return &o.Pack },
	}
	// VisitField is the number of a visit in the record.
	VisitField = &Field{
		Name: "visit", About: "the number of a closed visit in the record, which needs pack and was; left out or 0 for the open one", Unit: One, Low: 0, High: 999_999,
		place: func(o *Order) any { return &o.Visit },
	}
	NameField = &Field{
		Name: "field", About: "which value is corrected", Unit: Characters, Low: 1, High: 8,
		Words: []string{MLField.Name, DrawnField.Name, LevelField.Name, GravityField.Name},
		place: func(o *Order) any { return &o.Field },
	}
	// ValueField has the widest bounds of the fields that can be corrected.
	ValueField = &Field{
		Name: "value", About: "the right value, in the unit of the field; left out when it never happened", Unit: One, Low: 0, High: 2000,
		place: func(o *Order) any { return &o.Value },
	}
	WasField = &Field{
		Name: "was", About: "the old value as the sender knew it, in the unit of the field; the order is refused when the open visit has another", Unit: One, Low: 0, High: 1e5,
		place: func(o *Order) any { return &o.Was },
	}
	ReasonField = &Field{
		Name: "reason", About: "why, in the person's own words", Unit: Characters, Low: 1, High: MaxNoteRunes,
		place: func(o *Order) any { return &o.Reason },
	}
	LockField = &Field{
		Name: "lock", About: "which lock is removed", Unit: Characters, Low: 1, High: 5, Words: []string{LockHold, LockVisit},
		place: func(o *Order) any { return &o.Lock },
	}
	// OfField also takes the names that the agent itself makes of unproven ones, which
	// are longer.
	OfField = &Field{
		Name: "of", About: "whose lock, as the state names the person", Unit: Characters, Low: 0, High: MaxNameRunes + 20,
		Empty: "is the unknown person whose hold has no name",
		place: func(o *Order) any { return &o.Of },
	}
	NobodyField = &Field{
		Name: "nobody_at_pack", About: "that somebody has looked, and nobody is at the pack", Unit: Confirmed,
		place: func(o *Order) any { return &o.NobodyAtPack },
	}
	CellsField = &Field{
		Name: "cells", About: "what was done, one line for each cell", Unit: CellLines, Low: 1, High: water.MaxCells,
		place: func(o *Order) any { return &o.Cells },
	}
	SureField = &Field{
		Name: "sure", About: "that the person has looked again and means it, after an answer that asks", Unit: YesNo,
		place: func(o *Order) any { return &o.Sure },
	}
	DoneByField = &Field{
		Name: "done_by", About: "who did the work, of a paper sheet that is typed in after the visit; with done_at", Unit: Characters, Low: 1, High: MaxNameRunes,
		place: func(o *Order) any { return &o.DoneBy },
	}
	DoneAtField = &Field{
		Name: "done_at", About: "when the work was done, RFC 3339 such as 2026-03-01T14:30:00+01:00, of a paper sheet that is typed in after the visit; with done_by", Unit: Characters,
		Low: 20, High: 35, form: isTime,
		place: func(o *Order) any { return &o.DoneAt },
	}
	HowField = &Field{
		Name: "how", About: "how ml was found: with a jug or gun (measured, what a missing one means), by filling until the rod showed the fill mark (to-mark, without ml, which is worked out), or not at all (as-proposed)",
		Unit: Characters, Low: 1, High: 11,
		Words: []string{string(Measured), string(ToMark), string(AsProposed)},
		in:    func(c *CellEntry) any { return (*string)(&c.How) },
	}
	DrawnField = &Field{
		Name: "drawn_ml", About: "electrolyte drawn off", Unit: Millilitres, Low: 1, High: 2000,
		in: func(c *CellEntry) any { return &c.DrawnML },
	}
	DryField = &Field{
		Name: "dry", About: "that the level rod shows the plates, so there is no level to read", Unit: YesNo,
		in: func(c *CellEntry) any { return &c.Dry },
	}
	// SeenField keeps two phones from giving one cell its water twice.
	SeenField = &Field{
		Name: "seen_ml", About: "the water that the sender knew the cell to have been given in this visit; the entry is refused when it is not that any more", Unit: Millilitres,
		Low: 0, High: 1e5,
		in: func(c *CellEntry) any { return &c.SeenML },
	}
)

// isTime reports whether a text is RFC 3339.
func isTime(text string) bool {
	_, err := time.Parse(time.RFC3339, text)
	return err == nil
}

// The locks of a person, as LockRemove names them.
const (
	LockHold  = "hold"
	LockVisit = "visit"
)

// Fields returns all fields that any order takes, in the order of the table.
func Fields() []*Field {
	var all []*Field
	for k := range Table {
		for _, f := range slices.Concat(Table[k].Fields, Table[k].Optional) {
			if !slices.Contains(all, f) {
				all = append(all, f)
			}
		}
	}
	return all
}

// AllFields returns Fields and those that only a line of an entry's cells has.
func AllFields() []*Field {
	all := Fields()
	for _, f := range Table[Entry].Each {
		if !slices.Contains(all, f) {
			all = append(all, f)
		}
	}
	return all
}

// FieldOf returns the field of that name in messages, nil for an unknown name.
func FieldOf(name string) *Field {
	for _, f := range AllFields() {
		if f.Name == name {
			return f
		}
	}
	return nil
}

// Place returns where an order keeps the field: an *int, a *float64, a *string, a
// *bool or a *[]CellEntry. The field must be one of Fields.
func (f *Field) Place(o *Order) any { return f.place(o) }

// Number returns the value of a numeric field, the length of a list, and 0 for
// anything else.
func (f *Field) Number(o *Order) float64 {
	switch p := f.place(o).(type) {
	case *int:
		return float64(*p)
	case *float64:
		return *p
	case **float64:
		if *p != nil {
			return **p
		}
	case *[]CellEntry:
		return float64(len(*p))
	}
	return 0
}

// sample returns a place of the field in an empty order or line.
func (f *Field) sample() any {
	if f.place != nil {
		return f.place(&Order{})
	}
	return f.in(&CellEntry{})
}

// IsText reports whether the field is a text and not a number.
func (f *Field) IsText() bool {
	_, text := f.sample().(*string)
	return text
}

// IsWhole reports whether the field is a whole number.
func (f *Field) IsWhole() bool {
	_, whole := f.sample().(*int)
	return whole
}

// IsFlag reports whether the field is true or false.
func (f *Field) IsFlag() bool {
	_, flag := f.sample().(*bool)
	return flag
}

// IsConfirmation reports whether the field is a flag of which only true is accepted.
func (f *Field) IsConfirmation() bool { return f.Unit == Confirmed }

// IsList reports whether the field is the list of cells.
func (f *Field) IsList() bool {
	_, list := f.sample().(*[]CellEntry)
	return list
}

// Holds reports whether a number is within the field's bounds; NaN is not.
func (f *Field) Holds(v float64) bool { return v >= f.Low && v <= f.High }

// leftOut reports whether a field that may be left out was left out.
func (f *Field) leftOut(o *Order) bool {
	if f.left != nil {
		return *f.left(o)
	}
	switch p := f.place(o).(type) {
	case *string:
		return *p == ""
	case *bool:
		return !*p
	case **float64:
		return *p == nil
	case *int:
		return *p == 0
	}
	return false
}

// bounds returns the bounds that apply in one bay.
func (f *Field) bounds(l Limits) (low, high float64) {
	if f.most != nil {
		return f.Low, min(f.High, f.most(l))
	}
	return f.Low, f.High
}

// Accepts describes what the field accepts within bounds, such as "0 to 2000 ml".
func (f *Field) Accepts(low, high float64) string {
	switch {
	case len(f.Words) > 0:
		last := len(f.Words) - 1
		return strings.Join(f.Words[:last], ", ") + " or " + f.Words[last]
	case f.IsFlag():
		return string(f.Unit)
	case f.IsList():
		return "a list of " + plain(low) + " to " + f.Write(high) + ", each with its number as cell and what was done there"
	case f.IsWhole():
		return "a whole number, " + plain(low) + " to " + f.Write(high)
	}
	return plain(low) + " to " + f.Write(high)
}

// Write returns a number of the field with its unit, such as "150 ml".
func (f *Field) Write(v float64) string {
	if f.Unit == One {
		return plain(v)
	}
	return fmt.Sprintf("%s %s", plain(v), f.Unit)
}

func plain(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
