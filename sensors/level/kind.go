package level

import (
	"fmt"
	"slices"
	"strconv"
)

// Kind is a kind of level probe, by its name in the configuration. Everything that
// configuration, driver, walk and simulator need to know about a kind is in its
// row of kinds; they ask the kind and never compare its name.
type Kind string

// The kinds. TestEveryKind checks that each is known wherever it is needed.
const (
	SingleRod    Kind = "rod"       // one rod in a supervised loop, read by pulses of both polarities
	Ladder       Kind = "ladder"    // two to four rods in one such loop
	Potential    Kind = "potential" // one rod against the pack's minus
	FourTwentyMA Kind = "4-20ma"    // a transmitter with a shunt, with the bands of NAMUR NE 43
)

// kinds has a row for each kind, in the order of complaints.
var kinds = []row{rodRow, ladderRow, potentialRow, transmitterRow}

// row describes one kind.
type row struct {
	kind  Kind
	about string // for the person who configures one
	// measures: it shows a height, not only whether the electrolyte is above or
	// below each rod.
	measures bool
	pulses   Pulses
	keys     []Key // besides rods
	rods     RodCount
	// The errors it reads as with its wire broken and with its wires touching.
	opened, shorted error
	// standIn is nil where a clip across the probe's terminals harms nothing.
	standIn   func(*Settings) StandIn
	relations []Relation
	open      func(*Settings) (Probe, error)
}

// Probe reads what was measured at one probe.
type Probe interface {
	// Read returns the span that a signal proves. The error is one of this
	// package's; ErrImplausible for a signal that proves nothing. It does not
	// allocate.
	Read(s *Signal) (Span, error)
}

// Scale is a probe that measures.
type Scale interface {
	Probe
	// LevelMM returns the height for a voltage, even one outside the range that
	// Read accepts; mm above the plate tops.
	LevelMM(volts float64) float64
	// MMPerV returns the change of height per volt, above 0.
	MMPerV() float64
}

// Settings are a probe's components and how it is mounted. A kind accepts only the
// keys of its row; the others are 0.
type Settings struct {
	ReferenceOhm float64 `yaml:"reference_ohm"` // carries the current of the test pulses
	PulseV       float64 `yaml:"pulse_v"`       // of the test pulse: the expander's supply
	PulseOhm     float64 `yaml:"pulse_ohm"`     // from the expander to the input
	CellsBelow   float64 `yaml:"cells_below"`   // between the probe's cell and the pack's minus
	EndOhm       float64 `yaml:"end_ohm"`       // at the far end, next to the rods
	Rods         []Rod   `yaml:"rods"`          // lowest first
	ShuntOhm     float64 `yaml:"shunt_ohm"`     // carries the signal current
	LowMM        float64 `yaml:"low_mm"`        // level at the low end of the signal
	HighMM       float64 `yaml:"high_mm"`       // level at the high end of the signal
	OffsetMM     float64 `yaml:"offset_mm"`     // added to every height
}

// KeyOf is a setting with what it accepts.
type KeyOf[T any] struct {
	Name      string
	Low, High float64 // both are accepted
	Unit      string  // follows the bounds in a complaint
	Optional  bool
	Of        func(*T) *float64
}

// Key is a setting of a probe.
type Key = KeyOf[Settings]

// RodCount is how many rods a kind has; the zero value is for one without rods.
type RodCount struct {
	Least, Most int
	Code        string // of the complaint about another number, such as "one-rod"
}

// Unfit is a setting that does not go with others: what is wrong, as the code of a
// sentence with its values.
type Unfit struct {
	Code   string
	Values []any
}

// Relation is a condition between settings, or between a setting and the
// converter's input.
type Relation struct {
	Key   string   // the key to complain about
	Needs []string // further keys that must be valid before this can be checked
	// Broken returns what the key must be but is not, or "" if the condition is
	// met; topV is the highest voltage that the input can read.
	Broken func(s *Settings, topV float64) *Unfit
}

// Kinds returns every kind.
func Kinds() []Kind {
	all := make([]Kind, len(kinds))
	for i := range kinds {
		all[i] = kinds[i].kind
	}
	return all
}

// row returns the kind's row. An unknown name has the zero row: it accepts no key,
// does not measure and cannot be opened.
func (k Kind) row() *row {
	for i := range kinds {
		if kinds[i].kind == k {
			return &kinds[i]
		}
	}
	return &row{}
}

// About describes the kind, in whole sentences, for the person who configures one.
func (k Kind) About() string { return k.row().about }

// Measures reports whether a probe of this kind shows a height, which a level rod
// can check, and does not only switch at the heights of its rods.
func (k Kind) Measures() bool { return k.row().measures }

// Pulses returns the test pulses that the kind needs, from an expander's pins.
func (k Kind) Pulses() Pulses { return k.row().pulses }

// Keys returns the settings that the kind accepts, without its rods.
func (k Kind) Keys() []Key { return k.row().keys }

// Rods returns how many rods the kind has.
func (k Kind) Rods() RodCount { return k.row().rods }

// Takes reports whether a key belongs to the kind.
func (k Kind) Takes(key string) bool {
	r := k.row()
	return key == RodsKey && r.rods.Most > 0 || slices.ContainsFunc(r.keys, func(own Key) bool { return own.Name == key })
}

// Relations returns the conditions between the kind's settings.
func (k Kind) Relations() []Relation { return k.row().relations }

// Opened returns the error of Read while the probe's wire is broken.
func (k Kind) Opened() error { return k.row().opened }

// Shorted returns the error of Read while the probe's wires touch.
func (k Kind) Shorted() error { return k.row().shorted }

// StandIn takes a probe's place at the measuring box, so that its signal shows a
// failure. Ohm is the resistor; with 0 it is a clip, because the loop limits the
// current by itself.
type StandIn struct {
	Ohm   float64
	HighV float64 // what the input may read with it; more is a short where none may be
}

// StandIn returns what tests the failure that Shorted names.
func (k Kind) StandIn(s *Settings) StandIn {
	if f := k.row().standIn; f != nil {
		return f(s)
	}
	return StandIn{HighV: touchingV}
}

// touchingV is more than touching wires leave of a test pulse between them.
const touchingV = 0.2

// New makes a probe of a kind. It returns an error if the kind is unknown, or if
// its settings do not make a readable circuit.
func New(k Kind, s Settings) (Probe, error) {
	r := k.row()
	if r.open == nil {
		return nil, fmt.Errorf("kind %q is not one of %v", string(k), Kinds())
	}
	p, err := r.open(&s)
	if err != nil {
		return nil, err
	}
	return p, nil
}

// SettingKeys returns the keys of all kinds, each once.
func SettingKeys() []string {
	names := []string{RodsKey}
	for i := range kinds {
		for _, key := range kinds[i].keys {
			if !slices.Contains(names, key.Name) {
				names = append(names, key.Name)
			}
		}
	}
	return names
}

// RodsKey is the setting that holds the rods.
const RodsKey = "rods"

// offsetKey is the key that every kind accepts.
var offsetKey = Key{"offset_mm", -50, 50, "mm", true, func(s *Settings) *float64 { return &s.OffsetMM }}

// plain formats a number without an exponent.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
