// Package order is what people may ask of a bay. Each order is one row of
// Table: its name, what it does, the fields that it takes with their units and
// bounds, the right that it needs and what a person confirms before it. The
// core, the page, MQTT, the import and the published contracts all go by that
// row, so a new order is written here once.
//
// An order that is not accepted gives a Refusal: a code and the numbers that
// belong to it. Words for people are made from that.
package order

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Kind is what a person asks for.
type Kind uint8

// The orders. None of them can grant the permit.
const (
	None Kind = iota
	Hold
	Unhold
	Release
	VisitOpen
	VisitClose
	Fill
	Gravity
	Level
	Quality
	Pack
	NumKinds
)

// String is the order's name in messages, such as "visit-open".
func (k Kind) String() string {
	if row := k.Row(); row != nil {
		return row.Name
	}
	return fmt.Sprintf("order-%d", uint8(k))
}

// Row is the order's row of the table, nil for what is not an order.
func (k Kind) Row() *Row {
	if k == None || k >= NumKinds {
		return nil
	}
	return &Table[k]
}

// Parse finds an order by its name in messages; ok is false for a name that is
// not one.
func Parse(name string) (kind Kind, ok bool) {
	for k := None + 1; k < NumKinds; k++ {
		if Table[k].Name == name {
			return k, true
		}
	}
	return None, false
}

// Order is one request of a person. Whether that person has the right to it
// is decided at the edge, before it becomes part of the readings. Which fields
// belong to which kind, and their bounds, are in Table.
type Order struct {
	ID      string // unique; a repeated ID does nothing
	Kind    Kind
	By      string // the person
	Cell    int    // 1 is the positive end
	ML      float64
	Gravity float64 // as read, not corrected
	AtC     float64
	LevelMM float64
	USPerCM float64
	// Unmeasured: nobody measured USPerCM, which then means nothing.
	Unmeasured bool
	Water      string // what kind it is; "" when nobody said
	Pack       string // its name; "" takes back what was said
	Note       string // what the person says with it, for the record; "" for nothing
}

// Bounds of what every order carries.
const (
	MaxIDBytes   = 64
	MaxNameRunes = 60 // of the person
	MaxNoteRunes = 200
)

// Printable tells whether a text has 1 to most characters, all of which can be
// in a record and on a screen. It neither begins nor ends with a space: one name
// must not look like another.
func Printable(s string, most int) bool {
	if s == "" || !utf8.ValidString(s) || utf8.RuneCountInString(s) > most || strings.TrimSpace(s) != s {
		return false
	}
	return strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
}

// Right is what a person may do; each includes those before it.
type Right uint8

// The rights. The zero value allows nothing.
const (
	NoRight    Right = iota
	MayLook          // look, and hold
	MayVisit         // also open, work and close visits
	MayRelease       // also end a hold and release what latched
	numRights
)

var rightNames = [numRights]string{"none", "look", "visit", "release"}

// String is the right's name in the configuration, such as "visit".
func (r Right) String() string {
	if r >= numRights {
		return fmt.Sprintf("right-%d", uint8(r))
	}
	return rightNames[r]
}

// ParseRight finds a right by its name, NoRight for a name that is not one.
func ParseRight(name string) Right {
	for _, r := range Rights() {
		if rightNames[r] == name {
			return r
		}
	}
	return NoRight
}

// Rights are those that a person can have, the least first.
func Rights() []Right { return []Right{MayLook, MayVisit, MayRelease} }

// Allows tells whether the right is enough for an order. What is not an order,
// and one whose row names no right, is allowed to nobody.
func (r Right) Allows(k Kind) bool {
	row := k.Row()
	return row != nil && row.Right != NoRight && r >= row.Right
}
