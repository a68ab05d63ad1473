package bay

import (
	"errors"
	"fmt"
)

// Doubt is why a stored memory is not used as it is. The zero value is none.
type Doubt uint8

// The doubts.
const (
	NoDoubt            Doubt = iota
	OffTooLong               // the agent was off for too long or for an unknown time
	LogbookUnreadable        // nothing of the time before is known, as for the next three
	LogbookDamaged           // it is kept under another name
	LogbookUncertain         // whether it was damaged before cannot be found out
	MemoryUnreadable         // it is not one
	MemoryDamaged            // its sum does not fit, or a value cannot be
	MemoryOtherVersion       // of another program
	MemoryOtherPack          // of another pack than the bay's
	NumDoubts
)

var doubtNames = [NumDoubts]string{
	"none", "off-too-long", "logbook-unreadable", "logbook-damaged", "logbook-uncertain", "memory-unreadable", "memory-damaged",
	"memory-other-version", "memory-other-pack",
}

// String is the doubt's name in the record, such as "off-too-long".
func (d Doubt) String() string {
	if d >= NumDoubts {
		return fmt.Sprintf("doubt-%d", uint8(d))
	}
	return doubtNames[d]
}

// ParseDoubt finds a doubt by its name, NoDoubt for one that is not known.
func ParseDoubt(name string) Doubt {
	for d := range NumDoubts {
		if doubtNames[d] == name {
			return d
		}
	}
	return NoDoubt
}

// ErrMemory says that a memory cannot be used; the core then starts without
// what it cannot prove.
var ErrMemory = errors.New("memory cannot be used")

// memoryError is an ErrMemory with its doubt.
type memoryError struct {
	why  Doubt
	text string
}

func (e *memoryError) Error() string { return ErrMemory.Error() + ": " + e.text }

func (e *memoryError) Unwrap() error { return ErrMemory }

// doubtOf is the doubt of an error of a memory.
func doubtOf(err error) Doubt {
	if e, ok := errors.AsType[*memoryError](err); ok {
		return e.why
	}
	return MemoryUnreadable
}

func damaged(text string) error { return &memoryError{MemoryDamaged, text} }
