package level

import (
	"fmt"
	"slices"
	"strconv"
)

// Kind is a kind of level probe, by its name in the configuration. Everything
// that configuration, driver, walk and simulator have to know of a kind stands in
// its row of kinds; they ask the kind and never compare its name.
type Kind string

// The kinds. TestEveryKind holds that each is known in every place that needs it.
const (
	SingleRod    Kind = "rod"    // one rod in a supervised loop
	Ladder       Kind = "ladder" // two to four rods in one such loop
	FourTwentyMA Kind = "4-20ma" // a transmitter over a shunt, with the bands of NAMUR NE 43
)

// kinds has a row for each kind, in the order in which complaints list them.
var kinds = []row{rodRow, ladderRow, transmitterRow}

// row is what is known of one kind.
type row struct {
	kind  Kind
	about string // for whoever configures one
	// measures: it shows a height, and not only which side of its rods the
	// electrolyte is on.
	measures bool
	keys     []Key // besides rods
	rods     RodCount
	// What it reads as with its wire broken and with its wires touching.
	opened, shorted error
	relations       []Relation
	open            func(*Settings) (Probe, error)
}

// Probe reads the voltage of one probe.
type Probe interface {
	// Read is the span that a voltage proves. The error is one of this package's,
	// or ErrImplausible for a voltage that proves nothing. It does not allocate.
	Read(volts float64) (Span, error)
}

// Scale is a probe that measures.
type Scale interface {
	Probe
	// LevelMM is the height that a voltage would stand for, also where it is
	// outside what Read accepts; mm above the plate tops.
	LevelMM(volts float64) float64
	// MMPerV is by how much the height changes with the voltage, above 0.
	MMPerV() float64
}

// Settings are what a probe is built with and how it is hung. A kind takes only
// the keys of its row; the others are 0.
type Settings struct {
	ExcitationV float64 `yaml:"excitation_v"` // that feeds the loop
	PullOhm     float64 `yaml:"pull_ohm"`     // from excitation_v to the node that is measured
	EndOhm      float64 `yaml:"end_ohm"`      // at the far end, next to the rods
	Rods        []Rod   `yaml:"rods"`         // lowest first
	ShuntOhm    float64 `yaml:"shunt_ohm"`    // that the signal current flows through
	LowMM       float64 `yaml:"low_mm"`       // level at the low end of the signal
	HighMM      float64 `yaml:"high_mm"`      // level at the high end of the signal
	OffsetMM    float64 `yaml:"offset_mm"`    // added to every height
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
	Rule        string // such as "must be one rod"
}

// Relation is what settings must be to each other or to the converter's input.
type Relation struct {
	Key   string   // that is complained about
	Needs []string // further keys that must be good by themselves before this can be judged
	// Broken is what the key must be and is not, "" for nothing; topV is the
	// highest voltage that the input can read.
	Broken func(s *Settings, topV float64) string
}

// Kinds lists every kind.
func Kinds() []Kind {
	all := make([]Kind, len(kinds))
	for i := range kinds {
		all[i] = kinds[i].kind
	}
	return all
}

// row finds the kind's row. A name that is no kind has the zero row: it takes no
// key, does not measure and cannot be opened.
func (k Kind) row() *row {
	for i := range kinds {
		if kinds[i].kind == k {
			return &kinds[i]
		}
	}
	return &row{}
}

// About describes the kind for whoever configures one, in whole sentences.
func (k Kind) About() string { return k.row().about }

// Measures tells whether a probe of this kind shows a height, which a level rod
// can check, or only switches at the heights of its rods.
func (k Kind) Measures() bool { return k.row().measures }

// Keys lists the settings that the kind takes, without its rods.
func (k Kind) Keys() []Key { return k.row().keys }

// Rods is how many rods the kind has.
func (k Kind) Rods() RodCount { return k.row().rods }

// Takes tells whether a key belongs to the kind.
func (k Kind) Takes(key string) bool {
	r := k.row()
	return key == RodsKey && r.rods.Most > 0 || slices.ContainsFunc(r.keys, func(own Key) bool { return own.Name == key })
}

// Relations lists what the kind's settings must be to each other.
func (k Kind) Relations() []Relation { return k.row().relations }

// Opened is the error that Read returns while the probe's wire is broken.
func (k Kind) Opened() error { return k.row().opened }

// Shorted is the error that Read returns while the probe's wires touch.
func (k Kind) Shorted() error { return k.row().shorted }

// New makes the probe of a kind. It is an error if the kind is not known, or if
// its settings make no circuit that can be read.
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

// SettingKeys lists the keys of all kinds, each once.
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

// offsetKey is taken by every kind.
var offsetKey = Key{"offset_mm", -50, 50, "mm", true, func(s *Settings) *float64 { return &s.OffsetMM }}

// plain is a number without exponent.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
