// Package order defines what users may ask of a bay. Each order is one row of
// Table: its name, what it does, its fields with units and bounds, the right that
// it needs and what the user confirms before it. The core, the page, MQTT, the
// import and the published contracts all use that row, so a new order is written
// only here.
//
// An order that is not accepted gives a Refusal: a code and its numbers. Messages
// for users are made from that.
package order

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Kind is what an order asks for.
type Kind uint8

// The orders. None of them can grant the permit.
const (
	None Kind = iota
	Hold
	Unhold
	LockRemove
	Release
	VisitOpen
	VisitJoin
	VisitLeave
	VisitClose
	Fill
	Gravity
	Level
	Quality
	Pack
	Entry
	Accept
	Correct
	NumKinds
)

// String returns the order's name in messages, such as "visit-open".
func (k Kind) String() string {
	if row := k.Row(); row != nil {
		return row.Name
	}
	return fmt.Sprintf("order-%d", uint8(k))
}

// Row returns the order's row of the table, nil for an unknown kind.
func (k Kind) Row() *Row {
	if k == None || k >= NumKinds {
		return nil
	}
	return &Table[k]
}

// Parse returns the order of that name in messages; ok is false for an unknown
// name.
func Parse(name string) (kind Kind, ok bool) {
	for k := None + 1; k < NumKinds; k++ {
		if Table[k].Name == name {
			return k, true
		}
	}
	return None, false
}

// Order is one request by a person. Whether that person has the right to it is
// decided at the edge, before the order becomes part of the readings. Which
// fields belong to which kind, and their bounds, are in Table.
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
	// Unmeasured means that USPerCM was not measured and has no meaning.
	Unmeasured bool
	Water      string      // its kind; "" when not given
	Pack       string      // its name; "" withdraws the name given before
	Note       string      // a remark for the record; "" for none
	Cells      []CellEntry // of an Entry
	// DoneBy and DoneAt are of an Entry that was typed in from paper after a visit
	// that was not recorded: who did the work, and when, RFC 3339. Otherwise "".
	DoneBy, DoneAt string
	Reason         string // why; "" for none
	// LockRemove takes away the lock of the person Of: LockHold or LockVisit.
	// NobodyAtPack confirms that somebody looked and nobody is at the pack.
	Lock, Of     string
	NobodyAtPack bool
	// Correct replaces the value of Field at a Cell of a Visit, 0 being the open one, by
	// Value; nil says that it never happened. Was is the old value as the sender knew
	// it, nil when not given.
	Visit      int
	Field      string
	Value, Was *float64
	// Sure repeats an order that was asked back, see Code.Asks: the person has looked
	// again and means it.
	Sure bool
}

// ErrNotOnRecord comes with the event of an order that was taken: the order is in
// force, but not on record yet, and a crash would lose it. It must not be shown as
// done.
var ErrNotOnRecord = errors.New("in force, but not yet on record")

// Late reports whether an entry was typed in from paper after its visit.
func (o *Order) Late() bool { return o.DoneBy != "" || o.DoneAt != "" }

// Bounds of what every order carries.
const (
	MaxIDBytes   = 64
	MaxNameRunes = 60  // of the person
	MaxNoteRunes = 200 // also of a reason
)

// Printable reports whether a text has 1 to most characters, all fit for a record
// and a screen. It must neither begin nor end with a space: no name may look like
// another.
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
	MayVisit         // also open, work and close visits, and remove one's own hold
	MayRelease       // also release what latched, and remove another person's lock
	numRights
)

var rightNames = [numRights]string{"none", "look", "visit", "release"}

// String returns the right's name in the configuration, such as "visit".
func (r Right) String() string {
	if r >= numRights {
		return fmt.Sprintf("right-%d", uint8(r))
	}
	return rightNames[r]
}

// ParseRight returns the right of that name, NoRight for an unknown name.
func ParseRight(name string) Right {
	for _, r := range Rights() {
		if rightNames[r] == name {
			return r
		}
	}
	return NoRight
}

// Rights returns the rights that a person can have, the least first.
func Rights() []Right { return []Right{MayLook, MayVisit, MayRelease} }

// Needs returns the right that an order needs: that of its row, but to correct a
// visit that is closed the highest.
func (o *Order) Needs() Right {
	switch row := o.Kind.Row(); {
	case row == nil || row.Right == NoRight:
		return numRights
	case o.Kind == Correct && o.Visit != 0:
		return MayRelease
	default:
		return row.Right
	}
}

// Allows reports whether the right is enough for an order. An unknown order, or
// one whose row names no right, is allowed to nobody.
func (r Right) Allows(k Kind) bool {
	row := k.Row()
	return row != nil && row.Right != NoRight && r >= row.Right
}
