package order

import (
	"math"
	"slices"
	"strings"
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
	// Loosens means that it can make the bay less careful: it takes away a lock or a
	// finding, or proves what lets the pack go on. What cannot be put on record does
	// not loosen anything; see bay.Readings.NoRecord.
	Loosens bool
	// Fields are the fields it takes. All are required; with AnyOf at least one.
	Fields []*Field
	AnyOf  bool
	// Optional are those that may be left out.
	Optional []*Field
	// Each are the fields of each line of its list of cells; see CellEntry.
	Each []*Field
	// Confirm are the keys, in forms and language files, of what the page asks a
	// person to confirm before the order is given.
	Confirm []string
	// Round are those of Confirm that hold for a whole round: on it, a person confirms
	// them once.
	Round []string
}

// ConfirmedBefore begins the note of an order whose points were confirmed; their
// keys follow, so that each reader gets them in words.
const ConfirmedBefore = "confirmed: "

// Confirmed returns the note for the record that every point was confirmed, ""
// when there are none.
func (r *Row) Confirmed() string {
	if len(r.Confirm) == 0 {
		return ""
	}
	return ConfirmedBefore + strings.Join(r.Confirm, " ")
}

// ConfirmedRound returns the note for the record that the points of Round were
// confirmed earlier in the round, at a time such as 14:05, and all others now.
func (r *Row) ConfirmedRound(at string) string {
	var now []string
	for _, point := range r.Confirm {
		if !slices.Contains(r.Round, point) {
			now = append(now, point)
		}
	}
	return ConfirmedBefore + strings.Join(append(now, RoundPoint+"@"+at), " ")
}

// RoundPoint stands, with the time, for the points that were confirmed earlier in a round.
const RoundPoint = "round"

// Takes reports whether a field belongs to the order.
func (r *Row) Takes(f *Field) bool {
	return slices.Contains(r.Fields, f) || slices.Contains(r.Optional, f)
}

// Needs reports whether the order is refused without the field.
func (r *Row) Needs(f *Field) bool { return !r.AnyOf && slices.Contains(r.Fields, f) }

// Table has one row for each order, in the order of the kinds; row 0 is empty.
// Forms, messages, contracts and the bay's own checks are derived from it.
var Table = [NumKinds]Row{
	Hold: {
		Name: "hold", Does: "Block the charge with a lock in the person's name, beside those of others.", Of: OfCharge, Right: MayLook,
		Optional: []*Field{ReasonField},
	},
	Unhold: {Name: "unhold", Does: "Remove the person's own hold; the charge stays blocked while another person holds.", Of: OfCharge, Right: MayVisit, Loosens: true},
	LockRemove: {
		Name: "lock-remove", Does: "Remove another person's hold or place in the visit, after making sure that nobody is at the pack.", Of: OfCharge, Right: MayRelease, Loosens: true,
		Fields:  []*Field{LockField, OfField, ReasonField, NobodyField},
		Confirm: []string{"nobody"},
	},
	Release: {Name: "release", Does: "Release latched findings whose condition is gone.", Of: OfCharge, Right: MayRelease, Loosens: true},
	VisitOpen: {
		Name: "visit-open", Does: "Open a visit, which locks the charge out.", Of: OfVisit, Right: MayVisit,
		Confirm: []string{"park", "lock", "wear", "metal", "wash", "spark", "air", "calm"},
		Round:   []string{"wear", "metal", "wash", "spark", "air"},
	},
	VisitJoin: {
		Name: "visit-join", Does: "Join the open visit with a lock in the person's own name.", Of: OfVisit, Right: MayVisit, InVisit: true,
		Confirm: []string{"wear", "metal", "spark"},
	},
	VisitLeave: {
		Name: "visit-leave", Does: "Leave the visit while others are still in it; the last person closes it.", Of: OfVisit, Right: MayVisit, InVisit: true, Loosens: true,
	},
	VisitClose: {
		Name: "visit-close", Does: "Close the visit: only the last person in it, or anybody once nobody is in it.", Of: OfVisit, Right: MayVisit, InVisit: true, Loosens: true,
		Confirm: []string{"caps", "spills", "latch"},
	},
	Fill: {
		Name: "fill", Does: "Record the water that one cell was given.", Of: OfVisit, Right: MayVisit, InVisit: true,
		Fields: []*Field{CellField, MLField}, Optional: []*Field{SureField},
	},
	Gravity: {
		Name: "gravity", Does: "Record a hydrometer reading of one cell.", Of: OfVisit, Right: MayVisit, Loosens: true,
		Fields: []*Field{CellField, GravityField, AtCField},
	},
	Level: {
		Name: "level", Does: "Record a level reading of one cell.", Of: OfVisit, Right: MayVisit, Loosens: true,
		Fields: []*Field{CellField, LevelField}, Optional: []*Field{SureField},
	},
	Quality: {
		Name: "quality", Does: "Record what water the visit uses.", Of: OfVisit, Right: MayVisit, InVisit: true,
		Fields: []*Field{USPerCMField, WaterField}, AnyOf: true,
	},
	Pack: {
		Name: "pack", Does: "Say which pack is plugged in, or take that back.", Of: OfPack, Right: MayVisit, Loosens: true,
		Fields: []*Field{PackField},
	},
	Entry: {
		Name: "entry", Does: "Record what was done at one or more cells: all of it, or nothing when any of it is refused.", Of: OfVisit, Right: MayVisit, Loosens: true,
		Fields: []*Field{CellsField}, Optional: []*Field{SureField, DoneByField, DoneAtField},
		Each: []*Field{CellField, MLField, HowField, DrawnField, DryField, LevelField, GravityField, AtCField, SeenField},
	},
	Correct: {
		Name: "correct", Does: "Correct a value of one cell of the open visit or, with the role release, of a closed one of the pack that is plugged in; the old value stays on record.", Of: OfVisit, Right: MayVisit, Loosens: true,
		Fields: []*Field{CellField, NameField, ReasonField}, Optional: []*Field{VisitField, ValueField, WasField, PackField},
	},
	Accept: {
		Name: "accept", Does: "Take on oneself, with a reason, that cells were filled over their highest level for a charge.", Of: OfCharge, Right: MayRelease, Loosens: true,
		Fields: []*Field{ReasonField},
	},
}

// Members returns the fields of an order as a message carries them, by name,
// without those that were left out and numbers that are not finite.
func (o *Order) Members() map[string]any {
	all := map[string]any{}
	row := o.Kind.Row()
	if row == nil {
		return all
	}
	for _, f := range slices.Concat(row.Fields, row.Optional) {
		if v, ok := member(f.place(o), row.Needs(f)); ok && (!row.AnyOf || !f.leftOut(o)) {
			all[f.Name] = v
		}
	}
	return all
}

// member returns the value at a place as a message carries it. ok is false for a
// number that is not finite, and for an empty value unless it is needed.
func member(place any, needed bool) (v any, ok bool) {
	switch p := place.(type) {
	case *[]CellEntry:
		return linesOf(*p), true
	case *bool:
		return true, *p
	case *int:
		return float64(*p), needed || *p != 0
	case **float64:
		if *p == nil {
			return nil, false
		}
		return **p, finite(**p)
	case *float64:
		return *p, finite(*p)
	case *string:
		return *p, needed || *p != ""
	}
	return nil, false
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// Put restores what Members returned, also after a round trip through JSON. It
// ignores values that do not fit.
func (o *Order) Put(members map[string]any) {
	for _, f := range Fields() {
		if v, given := members[f.Name]; given {
			put(f.place(o), v)
		}
	}
	o.LeaveOut(func(name string) bool { _, given := members[name]; return !given })
}

// put sets a place to what member returned for it.
func put(place, v any) {
	x, number := v.(float64)
	switch p := place.(type) {
	case *[]CellEntry:
		*p = linesFrom(v)
	case *bool:
		*p, _ = v.(bool)
	case *int:
		if number && math.Abs(x) <= math.MaxInt32 {
			*p = int(x)
		}
	case **float64:
		if number {
			*p = &x
		}
	case *float64:
		if number {
			*p = x
		}
	case *string:
		if text, ok := v.(string); ok {
			*p = text
		}
	}
}

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
