package interlock

import (
	"fmt"
	"iter"
	"math/bits"
	"time"

	"bayward/agent/reading"
)

// Code names a finding. The zero value is not a finding.
type Code uint8

// Codes is a set of findings: bit c stands for the code c.
type Codes uint32

// All iterates over the codes of the set in order.
func (s Codes) All() iter.Seq[Code] {
	return func(yield func(Code) bool) {
		more := true
		for left := uint32(s); left != 0 && more; left &= left - 1 {
			more = yield(Code(bits.TrailingZeros32(left)))
		}
	}
}

// blocking is the set of findings that block the permit.
var blocking = func() (s Codes) {
	for c := NoCode + 1; c < NumCodes; c++ {
		if Table[c].Blocks {
			s |= 1 << c
		}
	}
	return s
}()

// Severity orders findings by the response they need.
type Severity uint8

// The severities. The zero value is unknown.
const (
	SeverityUnknown Severity = iota
	Info                     // expected, done on purpose
	Warning                  // look at it soon
	Danger                   // damage or injury possible
)

// String returns the severity's name in messages.
func (s Severity) String() string {
	switch s {
	case Info:
		return "info"
	case Warning:
		return "warning"
	case Danger:
		return "danger"
	default:
		return "unknown"
	}
}

// Rule is one row of the table: everything fixed about a finding.
type Rule struct {
	Code      Code
	Name      string // in messages and metrics
	Severity  Severity
	Blocks    bool          // blocks the permit while raised
	Latches   bool          // stays until it is released
	ToStart   bool          // between the limit and the all-clear a charge may continue but not start
	ClearWhen string        // the all-clear in words; agent/words has the condition
	Raise     time.Duration // the condition must hold this long; see Why
	Clear     time.Duration // the all-clear must hold this long
	Why       string        // reason for the two times
	Reasons   []Reason      // besides Usual: the ways in which it can come about
	Basis     string        // published source of the limit, or that there is none
	// Reads is the sensor whose reading the rule judges; it is not required where
	// none is fitted. NoSensor for a rule that judges several, or none.
	Reads  reading.Sensor
	Unread Unread
	Limits []string // keys of its limits in bay.LimitTable
}

// Unread is how a rule judges a missing reading.
type Unread uint8

// The ways to judge a missing reading.
const (
	UnreadElsewhere Unread = iota // another finding reports it
	UnreadAlso                    // it counts as bad, like a value past the limit
	UnreadAlone                   // the finding is about missing readings only
)

// Lookup returns the code with a name from messages, or NoCode for a name that is
// not in the table.
func Lookup(name string) Code {
	for c := NoCode + 1; c < NumCodes; c++ {
		if Table[c].Name == name {
			return c
		}
	}
	return NoCode
}

// String returns the code's name in messages and metrics, such as "plates-bare".
func (c Code) String() string {
	if c == NoCode || c >= NumCodes {
		return fmt.Sprintf("code-%d", uint8(c))
	}
	return Table[c].Name
}
