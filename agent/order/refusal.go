package order

import (
	"fmt"
	"slices"
	"strings"
)

// Code is the machine-readable reason why an order is refused.
type Code uint8

// The codes. New ones may be added.
const (
	NoCode             Code = iota
	NoID                    // it has no ID
	Repeated                // an order with its ID was taken before
	NoPerson                // it names no person
	NoSuchOrder             // its kind is unknown
	Missing                 // Field is missing
	Stray                   // Field does not belong to it
	NothingSaid             // none of its fields is given, and one must be
	OutOfRange              // Value of Field is not within Low to High
	BadText                 // Name, the text of Field, is not accepted
	NoVisit                 // no visit is open
	VisitIsOpen             // the person Name has one open
	PackUnknown             // the plugged-in pack is unknown
	NoPack                  // no pack is connected
	OnePack                 // the bay serves the pack Name alone
	NoSuchPack              // Name is no pack of the bay
	PackElsewhere           // another bay has the pack Name
	SensorsDisagree         // the sensors of several packs answer
	OtherPackSensed         // the sensor of the pack Name answers
	AboveVentWell           // a level Value that no cell can show; High is the bottom of the vent well
	TemperatureUnknown      // without it a level cannot be referred to 25 °C
	LevelUnknown            // the pilot cell's level is unknown, so there is nothing to compare with
	CellTwice               // Cell has two lines in one entry
	DryAndLevel             // a cell cannot be dry and show a level, unless water was given between
	BelowTops               // a level rod reads nothing below the plate tops: Dry says that
	GivenMeanwhile          // Cell has Value by now, not what the sender saw
	NotConfirmed            // Field must be confirmed
	NoSuchLock              // the person Name has no such lock here; Name may be ""
	NotYourLock             // the locks are those of the people Name
	InVisit                 // the person Name is in the visit already
	LastInVisit             // the last person does not leave the visit but closes it
	OthersInVisit           // the people Name are in the visit
	OtherPack               // it is about the pack Name, which is not the one here
	NothingToCorrect        // Cell has no such value in the open visit
	NothingOverfilled       // no cell was filled over its highest level for a charge
	PackConnected           // a release would let a relay that sticks charge the pack that is connected
	NoRecord                // it makes the bay less careful, and cannot be put on record now
	// The rest ask the person to look again: an order that is Sure is taken.
	AskOverCeiling // the level Value is above High, the highest for a charge
	AskPastCeiling // the amount Value brings the cell over its highest level for a charge, to which it has room for High
	AskContradicts // the level Value is not within Low to High, which the level before and the amount give
	AskBare        // no water for a bare cell, for which Low is proposed
	AskLittle      // the amount Value is under a third of Low, which is proposed
	AskMuch        // the amount Value is over three times High, which is proposed
	NumCodes
)

var codeNames = [NumCodes]string{
	"none", "no-id", "repeated", "no-person", "no-such-order", "missing", "stray", "nothing-said", "out-of-range", "bad-text",
	"no-visit", "visit-is-open", "pack-unknown", "no-pack", "one-pack", "no-such-pack", "pack-elsewhere", "sensors-disagree",
	"other-pack-sensed", "above-vent-well", "temperature-unknown", "level-unknown",
	"cell-twice", "dry-and-level", "below-tops", "given-meanwhile",
	"not-confirmed", "no-such-lock", "not-your-lock", "in-visit", "last-in-visit", "others-in-visit",
	"other-pack", "nothing-to-correct", "nothing-overfilled", "pack-connected", "no-record",
	"ask-over-ceiling", "ask-past-ceiling", "ask-contradicts", "ask-bare", "ask-little", "ask-much",
}

// String returns the code's name, such as "out-of-range".
func (c Code) String() string {
	if c >= NumCodes {
		return fmt.Sprintf("refusal-%d", uint8(c))
	}
	return codeNames[c]
}

// ParseCode returns the code of that name, NoCode for an unknown name.
func ParseCode(name string) Code {
	for c := NoCode + 1; c < NumCodes; c++ {
		if codeNames[c] == name {
			return c
		}
	}
	return NoCode
}

// Asks reports whether a refusal of that code asks the person to look again. The
// same order with Sure is taken.
func (c Code) Asks() bool { return c >= AskOverCeiling && c < NumCodes }

// HasValue reports whether the Value of a refusal of that code counts.
func (c Code) HasValue() bool {
	switch c {
	case OutOfRange, BelowTops, AboveVentWell, GivenMeanwhile, TemperatureUnknown, LevelUnknown, CellTwice:
		return true
	default:
		return c.Asks()
	}
}

// HasBounds reports whether the Low and the High of a refusal of that code count.
func (c Code) HasBounds() (low, high bool) {
	switch c {
	case OutOfRange, BelowTops, Missing, AskContradicts:
		return true, true
	case AskBare, AskLittle:
		return true, false
	case AboveVentWell, AskOverCeiling, AskPastCeiling, AskMuch:
		return false, true
	default:
		return false, false
	}
}

// Refusal is why an order is not carried out. Fields that do not belong to its
// code are zero.
type Refusal struct {
	Code  Code
	Kind  Kind   // of the order
	Cell  int    // whose line of an entry is wrong; 0 when the fault is in no line
	Field *Field // the field at fault, where there is one
	// Value, Low and High are in the unit of Field.
	Value, Low, High float64
	Name             string    // a person, a pack, or the text given
	More             []Refusal // the further faults of an entry, cell by cell
}

// Faults returns each fault of the order, cell by cell: the refusal itself is the
// first.
func (r *Refusal) Faults() []Refusal {
	first := *r
	first.More = nil
	return append([]Refusal{first}, r.More...)
}

// Joined makes one refusal of several faults, nil of none.
func Joined(faults []Refusal) *Refusal {
	if len(faults) == 0 {
		return nil
	}
	first := faults[0]
	if len(faults) > 1 {
		first.More = faults[1:]
	}
	return &first
}

// Fields returns the fields that are wrong, or any one of which would be enough;
// none when the fault is not in a field.
func (r *Refusal) Fields() []*Field {
	switch row := r.Kind.Row(); {
	case r.Code == NothingSaid && row != nil && r.Cell > 0:
		return told
	case r.Code == NothingSaid && row != nil:
		return row.Fields
	case r.Code == AboveVentWell || r.Code == TemperatureUnknown || r.Code == LevelUnknown:
		if r.Cell == 0 {
			return nil
		}
	}
	if r.Field == nil {
		return nil
	}
	return []*Field{r.Field}
}

// Keys returns the names of Fields in messages, joined by "or".
func (r *Refusal) Keys() string {
	var keys []string
	for _, f := range r.Fields() {
		keys = append(keys, f.Name)
	}
	return strings.Join(keys, " or ")
}

// Limits are the bounds of one bay beyond those of the table.
type Limits struct {
	Cells int // of its pack
}

// Given checks which fields an order came with, nil when they are the right ones.
// Edges use it for messages, in which a field can be missing or stray.
func Given(kind Kind, has func(name string) bool) *Refusal {
	row := kind.Row()
	if row == nil {
		row = &Row{}
	}
	some := false
	for _, f := range row.Fields {
		some = some || has(f.Name)
		if !row.AnyOf && !has(f.Name) {
			return &Refusal{Code: Missing, Kind: kind, Field: f, Low: f.Low, High: f.High}
		}
	}
	for _, f := range Fields() {
		if !row.Takes(f) && has(f.Name) {
			return &Refusal{Code: Stray, Kind: kind, Field: f}
		}
	}
	if row.AnyOf && !some {
		return &Refusal{Code: NothingSaid, Kind: kind}
	}
	return nil
}

// Check checks an order by itself, nil when it is valid. What the bay does with
// it then depends on the bay's state.
func Check(o *Order, l Limits) *Refusal {
	row := o.Kind.Row()
	switch {
	case o.ID == "":
		return &Refusal{Code: NoID, Kind: o.Kind}
	case o.By == "":
		return &Refusal{Code: NoPerson, Kind: o.Kind}
	case row == nil:
		return &Refusal{Code: NoSuchOrder, Kind: o.Kind}
	}
	some := false
	for _, f := range slices.Concat(row.Fields, row.Optional) {
		if !row.Needs(f) && f.leftOut(o) {
			continue
		}
		some = true
		if why := f.Check(o, l); why != nil {
			return why
		}
	}
	if row.AnyOf && !some {
		return &Refusal{Code: NothingSaid, Kind: o.Kind}
	}
	if why := checkLate(o); why != nil {
		return why
	}
	if why := checkCorrect(o); why != nil {
		return why
	}
	return Joined(checkCells(o, l))
}

// checkLate requires both fields of a late sheet, or neither.
func checkLate(o *Order) *Refusal {
	for _, f := range []*Field{DoneByField, DoneAtField} {
		if o.Late() && f.leftOut(o) {
			return &Refusal{Code: Missing, Kind: o.Kind, Field: f, Low: f.Low, High: f.High}
		}
	}
	return nil
}

// checkCorrect requires a value within the bounds of its own field, and for a closed
// visit what the record has of it.
func checkCorrect(o *Order) *Refusal {
	if o.Kind != Correct {
		return nil
	}
	of := FieldOf(o.Field)
	missing := func(f *Field) *Refusal {
		return &Refusal{Code: Missing, Kind: o.Kind, Field: f, Low: f.Low, High: f.High}
	}
	switch {
	case o.Visit != 0 && o.Pack == "":
		return missing(PackField)
	case o.Visit != 0 && o.Was == nil:
		return missing(WasField)
	case o.Value == nil:
		return nil
	}
	low := of.Low
	if of == DrawnField { // nothing drawn off is a correction too
		low = 0
	}
	return of.checkNumber(o.Kind, *o.Value, low, of.High)
}

// Check checks one field of an order, nil when its value is accepted.
func (f *Field) Check(o *Order, l Limits) *Refusal {
	if f.IsFlag() {
		if f.IsConfirmation() && f.leftOut(o) {
			return &Refusal{Code: NotConfirmed, Kind: o.Kind, Field: f}
		}
		return nil
	}
	low, high := f.bounds(l)
	if text, ok := f.place(o).(*string); ok {
		if f.takes(*text) {
			return nil
		}
		return &Refusal{Code: BadText, Kind: o.Kind, Field: f, Low: low, High: high, Name: *text}
	}
	return f.checkNumber(o.Kind, f.Number(o), low, high)
}

// checkNumber checks a number against its bounds.
func (f *Field) checkNumber(k Kind, v, low, high float64) *Refusal {
	if v >= low && v <= high { // false for NaN
		return nil
	}
	code := OutOfRange
	if f == LevelField && v < low {
		code = BelowTops
	}
	return &Refusal{Code: code, Kind: k, Field: f, Value: v, Low: low, High: high}
}

// takes reports whether the field accepts a text.
func (f *Field) takes(text string) bool {
	for _, word := range f.Words {
		if word == text {
			return true
		}
	}
	return len(f.Words) == 0 && (text == "" && f.Low == 0 || Printable(text, int(f.High)) && (f.form == nil || f.form(text)))
}
