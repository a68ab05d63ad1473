package order

import (
	"fmt"
	"strings"
)

// Code says to a program why an order is refused.
type Code uint8

// The codes. New ones may come.
const (
	NoCode             Code = iota
	NoID                    // it has no ID
	Repeated                // an order with its ID was taken before
	NoPerson                // it names nobody
	NoSuchOrder             // its kind is none
	Missing                 // Field is not there
	Stray                   // Field does not belong to it
	NothingSaid             // none of its fields is there, and one must be
	OutOfRange              // Value of Field is not in Low to High
	BadText                 // Name, the text of Field, is not accepted
	NoVisit                 // no visit is open
	VisitIsOpen             // one is, by the person Name
	PackUnknown             // it is not known which pack is plugged in
	NoPack                  // no pack is connected
	OnePack                 // the bay is there for the pack Name alone
	NoSuchPack              // Name is no pack of the bay
	PackElsewhere           // another bay has the pack Name
	SensorsDisagree         // the sensors of several packs answer
	OtherPackSensed         // the sensor of the pack Name answers
	AboveVentWell           // a level Value that no cell can show; the bottom of the vent well is at High
	TemperatureUnknown      // without it a level cannot be referred to 25 °C
	LevelUnknown            // of the pilot cell, so there is nothing to compare with
	NumCodes
)

var codeNames = [NumCodes]string{
	"none", "no-id", "repeated", "no-person", "no-such-order", "missing", "stray", "nothing-said", "out-of-range", "bad-text",
	"no-visit", "visit-is-open", "pack-unknown", "no-pack", "one-pack", "no-such-pack", "pack-elsewhere", "sensors-disagree",
	"other-pack-sensed", "above-vent-well", "temperature-unknown", "level-unknown",
}

// String is the code's name, such as "out-of-range".
func (c Code) String() string {
	if c >= NumCodes {
		return fmt.Sprintf("refusal-%d", uint8(c))
	}
	return codeNames[c]
}

// ParseCode finds a code by its name, NoCode for one that is not known.
func ParseCode(name string) Code {
	for c := NoCode + 1; c < NumCodes; c++ {
		if codeNames[c] == name {
			return c
		}
	}
	return NoCode
}

// Refusal is why an order is not carried out. What does not belong to its code
// is zero.
type Refusal struct {
	Code  Code
	Kind  Kind   // of the order
	Field *Field // of Missing, Stray, OutOfRange, BadText, AboveVentWell
	// Value, Low and High are in the unit of Field.
	Value, Low, High float64
	Name             string // a person, a pack, or a text that was given
}

// Fields are those that are wrong, or of which one would be enough; none when it is
// not a field that is wrong.
func (r *Refusal) Fields() []*Field {
	switch row := r.Kind.Row(); r.Code {
	case Missing, Stray, OutOfRange, BadText:
		return []*Field{r.Field}
	case NothingSaid:
		if row != nil {
			return row.Fields
		}
	default:
	}
	return nil
}

// Keys are the names of Fields in messages, joined by "or".
func (r *Refusal) Keys() string {
	var keys []string
	for _, f := range r.Fields() {
		keys = append(keys, f.Name)
	}
	return strings.Join(keys, " or ")
}

// Limits are what one bay bounds further than the table.
type Limits struct {
	Cells int // of its pack
}

// Given judges which fields an order came with, nil when they are the right
// ones. Edges ask it of messages, in which a field can be missing or stray.
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

// Check judges an order by itself, nil when nothing is wrong with it. What the
// bay makes of it then depends on its state.
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
	for _, f := range row.Fields {
		if row.AnyOf && f.leftOut(o) {
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
	return nil
}

// Check judges one field of an order, nil when its value is accepted.
func (f *Field) Check(o *Order, l Limits) *Refusal {
	low, high := f.bounds(l)
	if text, ok := f.place(o).(*string); ok {
		if f.takes(*text) {
			return nil
		}
		return &Refusal{Code: BadText, Kind: o.Kind, Field: f, Low: low, High: high, Name: *text}
	}
	if v := f.Number(o); !(v >= low && v <= high) { // not-a-number is out of range too
		return &Refusal{Code: OutOfRange, Kind: o.Kind, Field: f, Value: v, Low: low, High: high}
	}
	return nil
}

// takes tells whether a text is one that the field accepts.
func (f *Field) takes(text string) bool {
	for _, word := range f.Words {
		if word == text {
			return true
		}
	}
	return len(f.Words) == 0 && (text == "" && f.Low == 0 || Printable(text, int(f.High)))
}
