package bay

import (
	"errors"
	"fmt"
)

// Doubt is why a stored memory is not used as stored. The zero value is none.
type Doubt uint8

// The doubts.
const (
	NoDoubt            Doubt = iota
	OffTooLong               // the agent was off for too long or for an unknown time
	LogbookUnreadable        // nothing from before is known; the same for the next three
	LogbookDamaged           // the damaged file is kept under another name
	LogbookUncertain         // it cannot be found out whether it was damaged before
	MemoryUnreadable         // not a memory
	MemoryDamaged            // its checksum does not match, or a value is impossible
	MemoryOtherVersion       // written by another version of the program
	MemoryOtherPack          // of a pack other than the bay's
	LogbookMissing           // gone, while other files of it are there
	LogbookCopied            // a backup is in the logbook's place
	LogbookOlder             // it ends before what the lockout file knows to be on record
	MemoryMissing            // there are events of the bay, and no memory
	MemoryOlder              // older than the bay's last event on record
	LockoutMissing           // the file of who is locked out is gone, or does not know the bay
	LockoutDamaged           // that file cannot be read
	LockoutOther             // that file belongs to another logbook
	LockedOut                // by that file the bay is locked out, by the memory it is not
	BayNew                   // nothing was ever on record; the bay is not commissioned yet
	NumDoubts
)

var doubtNames = [NumDoubts]string{
	"none", "off-too-long", "logbook-unreadable", "logbook-damaged", "logbook-uncertain", "memory-unreadable", "memory-damaged",
	"memory-other-version", "memory-other-pack", "logbook-missing", "logbook-copied", "logbook-older", "memory-missing", "memory-older",
	"lockout-missing", "lockout-damaged", "lockout-other", "locked-out", "bay-new",
}

// String is the doubt's name in the record, such as "off-too-long".
func (d Doubt) String() string {
	if d >= NumDoubts {
		return fmt.Sprintf("doubt-%d", uint8(d))
	}
	return doubtNames[d]
}

// ParseDoubt returns the doubt of that name, NoDoubt for an unknown name.
func ParseDoubt(name string) Doubt {
	for d := range NumDoubts {
		if doubtNames[d] == name {
			return d
		}
	}
	return NoDoubt
}

// ErrMemory means that a memory cannot be used. The core then starts without what
// it cannot prove.
var ErrMemory = errors.New("memory cannot be used")

// memoryError is an ErrMemory with its doubt.
type memoryError struct {
	why  Doubt
	text string
}

func (e *memoryError) Error() string { return ErrMemory.Error() + ": " + e.text }

func (e *memoryError) Unwrap() error { return ErrMemory }

// doubtOf returns the doubt of a memory error.
func doubtOf(err error) Doubt {
	if e, ok := errors.AsType[*memoryError](err); ok {
		return e.why
	}
	return MemoryUnreadable
}

func damaged(text string) error { return &memoryError{MemoryDamaged, text} }
