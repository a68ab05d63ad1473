package logbook

import (
	"time"

	"bayward/agent/bay"
	"bayward/agent/interlock"
)

// Stamp is a time by both clocks.
type Stamp struct {
	Wall    time.Time     // kept to the millisecond
	Trusted bool          // the wall clock was set from a source since boot
	BootID  string        // which boot Mono counts from
	Mono    time.Duration // since that boot; never goes back within one BootID
}

// Record is one event as stored. A field that does not belong to its kind is empty.
type Record struct {
	Bay   string
	Pack  string // "" when unknown
	Seq   uint64 // 1, 2, 3, … for each bay
	Epoch string // which record it was numbered in, see Book.Epoch
	Stamp Stamp
	Kind  string // such as "charge-full"
	Stage string // stage-changed: the new one
	From  string // stage-changed: the old one
	Code  string // the finding's code
	By    string // the person
	Order string // the order's ID
	Detail
	Text string // sentence stored by an older program; "" since schema 5
}

// Entry is what one tick of a bay leaves for the record. It is written whole or not
// at all, so that events, rows and memories never contradict each other.
type Entry struct {
	Bay    string
	Pack   string // in the bay; "" when unknown
	Stamp  Stamp
	Events []bay.Event
	Rows   Rows
	Memory []byte // the core's memory of the bay after the tick; nil keeps the old one
	// PackMemory is the core's memory of the pack itself, wherever it goes; nil
	// keeps the old one.
	PackMemory []byte
}

// record converts an event to its stored form.
func record(bayName string, seq uint64, s Stamp, e *bay.Event) Record {
	r := Record{
		Bay: bayName, Seq: seq, Stamp: s, Kind: e.Kind.String(),
		By: e.By, Order: e.Order, Detail: detailOf(e),
	}
	if e.Kind == bay.StageChanged {
		r.Stage, r.From = e.Stage.String(), e.From.String()
	}
	if e.Code != interlock.NoCode {
		r.Code = e.Code.String()
	}
	return r
}
