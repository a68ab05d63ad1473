package order

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"bayward/agent/water"
)

// Subject is what an order is about. Orders on one subject go to one address of
// the HTTP interface.
type Subject uint8

// The subjects.
const (
	OfCharge Subject = iota + 1 // whether the bay may charge
	OfVisit
	OfPack // which pack is plugged in
)

// Row is one order.
type Row struct {
	Name    string // in messages, such as "visit-open"
	Does    string // what it does, one sentence for users
	Of      Subject
	Right   Right // that the person giving it needs
	InVisit bool  // only while a visit is open
	// Fields are the fields it takes. All are required; with AnyOf at least one.
	Fields []*Field
	AnyOf  bool
	// Confirm is what the page asks a person to confirm before the order is given.
	Confirm []Point
}

// Point is one thing to confirm.
type Point struct {
	Key    string // in forms and language files
	Record string // the wording in the record
}

// Confirmed returns the note for the record that every point was confirmed, ""
// when there are none.
func (r *Row) Confirmed() string {
	if len(r.Confirm) == 0 {
		return ""
	}
	points := make([]string, len(r.Confirm))
	for i, p := range r.Confirm {
		points[i] = p.Record
	}
	return "Confirmed: " + strings.Join(points, "; ") + "."
}

// Takes reports whether a field belongs to the order.
func (r *Row) Takes(f *Field) bool {
	for _, mine := range r.Fields {
		if mine == f {
			return true
		}
	}
	return false
}

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

	place func(*Order) any            // *int, *float64 or *string
	left  func(*Order) *bool          // records that it was left out; nil: an empty text does
	most  func(Limits) (high float64) // a bound below High that depends on the bay
}

// The fields.
var (
	CellField = &Field{
		Name: "cell", About: "the cell, from the positive end", Unit: One, Low: 1, High: water.MaxCells,
		place: func(o *Order) any { return &o.Cell }, most: func(l Limits) float64 { return float64(l.Cells) },
	}
	// MLField is bounded to catch typing errors.
	MLField = &Field{
		Name: "ml", About: "water given", Unit: Millilitres, Low: 0, High: 2000,
		place: func(o *Order) any { return &o.ML },
	}
	GravityField = &Field{
		Name: "gravity", About: "specific gravity as read", Unit: One, Low: 1, High: 1.4,
		place: func(o *Order) any { return &o.Gravity },
	}
	AtCField = &Field{
		Name: "at_c", About: "temperature of the electrolyte", Unit: Celsius, Low: -30, High: 70,
		place: func(o *Order) any { return &o.AtC },
	}
	LevelField = &Field{
		Name: "level_mm", About: "electrolyte above the plate tops by the level rod", Unit: Millimetres, Low: -200, High: 200,
		place: func(o *Order) any { return &o.LevelMM },
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
)

// Fields returns all fields that any order takes, in the order of the table.
func Fields() []*Field {
	var all []*Field
	seen := map[*Field]bool{}
	for k := range Table {
		for _, f := range Table[k].Fields {
			if !seen[f] {
				seen[f] = true
				all = append(all, f)
			}
		}
	}
	return all
}

// Table has one row for each order, in the order of the kinds; row 0 is empty.
// Forms, messages, contracts and the bay's own checks are derived from it.
var Table = [NumKinds]Row{
	Hold:    {Name: "hold", Does: "Block the charge until a person ends it.", Of: OfCharge, Right: MayLook},
	Unhold:  {Name: "unhold", Does: "End a hold.", Of: OfCharge, Right: MayRelease},
	Release: {Name: "release", Does: "Release latched findings whose condition is gone.", Of: OfCharge, Right: MayRelease},
	VisitOpen: {
		Name: "visit-open", Does: "Open a visit, which locks the charge out.", Of: OfVisit, Right: MayVisit,
		Confirm: []Point{
			{"park", "machine parked, brake on, key out or isolator off"},
			{"lock", "charger off at its own switch, no plug pulled before"},
			{"wear", "goggles, face shield, apron, gloves, boots"}, {"metal", "no metal"},
			{"wash", "eyewash works and is free, neutraliser and water at hand"},
			{"spark", "no flame or spark"}, {"air", "air moving"}, {"calm", "battery not gassing, not alone"},
		},
	},
	VisitClose: {
		Name: "visit-close", Does: "Close the visit.", Of: OfVisit, Right: MayVisit, InVisit: true,
		Confirm: []Point{
			{"caps", "vent caps seated, vent holes clear"},
			{"spills", "spills neutralised and rinsed, waste in its own container"},
			{"latch", "hands and tools out, battery cover open for the charge"},
		},
	},
	Fill: {
		Name: "fill", Does: "Record the water that one cell was given.", Of: OfVisit, Right: MayVisit, InVisit: true,
		Fields: []*Field{CellField, MLField},
	},
	Gravity: {
		Name: "gravity", Does: "Record a hydrometer reading of one cell.", Of: OfVisit, Right: MayVisit,
		Fields: []*Field{CellField, GravityField, AtCField},
	},
	Level: {
		Name: "level", Does: "Record a level reading of one cell.", Of: OfVisit, Right: MayVisit,
		Fields: []*Field{CellField, LevelField},
	},
	Quality: {
		Name: "quality", Does: "Record what water the visit uses.", Of: OfVisit, Right: MayVisit, InVisit: true,
		Fields: []*Field{USPerCMField, WaterField}, AnyOf: true,
	},
	Pack: {
		Name: "pack", Does: "Say which pack is plugged in, or take that back.", Of: OfPack, Right: MayVisit,
		Fields: []*Field{PackField},
	},
}

// Place returns where an order keeps the field: an *int, a *float64 or a *string.
func (f *Field) Place(o *Order) any { return f.place(o) }

// Members returns the fields of an order as a message carries them, by name,
// without those that were left out and numbers that are not finite.
func (o *Order) Members() map[string]any {
	all := map[string]any{}
	row := o.Kind.Row()
	if row == nil {
		return all
	}
	for _, f := range row.Fields {
		switch p := f.place(o).(type) {
		case *int:
			all[f.Name] = float64(*p)
		case *float64:
			if !math.IsNaN(*p) && !math.IsInf(*p, 0) && (!row.AnyOf || !f.leftOut(o)) {
				all[f.Name] = *p
			}
		case *string:
			if !row.AnyOf || *p != "" {
				all[f.Name] = *p
			}
		}
	}
	return all
}

// Put restores what Members returned, also after a round trip through JSON. It
// ignores values that do not fit.
func (o *Order) Put(members map[string]any) {
	for _, f := range Fields() {
		v, given := members[f.Name]
		if !given {
			continue
		}
		switch p := f.place(o).(type) {
		case *int:
			if x, ok := v.(float64); ok && math.Abs(x) <= math.MaxInt32 {
				*p = int(x)
			}
		case *float64:
			if x, ok := v.(float64); ok {
				*p = x
			}
		case *string:
			if s, ok := v.(string); ok {
				*p = s
			}
		}
	}
	o.LeaveOut(func(name string) bool { _, given := members[name]; return !given })
}

// Number returns the value of a numeric field, 0 for a text.
func (f *Field) Number(o *Order) float64 {
	switch p := f.place(o).(type) {
	case *int:
		return float64(*p)
	case *float64:
		return *p
	}
	return 0
}

// IsText reports whether the field is a text and not a number.
func (f *Field) IsText() bool {
	_, text := f.place(&Order{}).(*string)
	return text
}

// IsWhole reports whether the field is a whole number.
func (f *Field) IsWhole() bool {
	_, whole := f.place(&Order{}).(*int)
	return whole
}

// Holds reports whether a number is within the field's bounds; NaN is not.
func (f *Field) Holds(v float64) bool { return v >= f.Low && v <= f.High }

// LeaveOut records which of its fields a message did not give.
func (o *Order) LeaveOut(missing func(name string) bool) {
	row := o.Kind.Row()
	if row == nil {
		return
	}
	for _, f := range row.Fields {
		if f.left != nil && missing(f.Name) {
			*f.left(o) = true
		}
	}
}

// leftOut reports whether a field that may be left out was left out.
func (f *Field) leftOut(o *Order) bool {
	if f.left != nil {
		return *f.left(o)
	}
	text, ok := f.place(o).(*string)
	return ok && *text == ""
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
