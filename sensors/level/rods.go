package level

import (
	"errors"
)

// rodRow and ladderRow are the two kinds of rods in a supervised loop. They
// differ in the number of rods and in the resistors, which must be precise if
// several rods share one loop.
var (
	rodRow = row{
		kind: SingleRod,
		about: "One rod in a supervised loop, read by short test pulses of both polarities from the pins of an expander. reference_ohm shows their current; " +
			"end_ohm sits at the far end, so that a dry loop does not look like a broken wire; the wet rod adds series_ohm in parallel.",
		pulses: BothPulses, keys: loopKeys, rods: RodCount{1, 1, "one-rod-or-ladder"},
		opened: ErrOpen, shorted: ErrShort, relations: loopRelations(RodTolerance), open: loopOf(RodTolerance),
	}
	ladderRow = row{
		kind: Ladder,
		about: "Two to four rods in one such loop, each with a different series_ohm, so that every combination has its own resistance; " +
			"only wet rods below dry ones make sense.",
		pulses: BothPulses, keys: loopKeys, rods: RodCount{2, MaxRods, "two-to-four-rods"},
		opened: ErrOpen, shorted: ErrShort, relations: loopRelations(LadderTolerance), open: loopOf(LadderTolerance),
	}
)

var loopKeys = []Key{
	{"reference_ohm", minReferenceOhm, 1e5, "ohm", false, func(s *Settings) *float64 { return &s.ReferenceOhm }},
	endKey,
	offsetKey,
}

// minReferenceOhm limits the current into the gas space.
const minReferenceOhm = 4700

var endKey = Key{"end_ohm", 100, 1e7, "ohm", false, func(s *Settings) *float64 { return &s.EndOhm }}

// RodKeys are the settings of one rod.
var RodKeys = []KeyOf[Rod]{
	{"height_mm", -100, 300, "mm above the plate tops", false, func(r *Rod) *float64 { return &r.HeightMM }},
	{"series_ohm", 10, 1e7, "ohm", false, func(r *Rod) *float64 { return &r.SeriesOhm }},
}

// loopOf opens a loop with resistors of a tolerance.
func loopOf(tolerance float64) func(*Settings) (Probe, error) {
	return func(s *Settings) (Probe, error) {
		return NewLoop(s.loop(tolerance))
	}
}

func (s *Settings) loop(tolerance float64) LoopOpts {
	o := LoopOpts{ReferenceOhm: s.ReferenceOhm, EndOhm: s.EndOhm, Tolerance: tolerance}
	for _, rod := range s.Rods {
		o.Rods = append(o.Rods, Rod{HeightMM: rod.HeightMM + s.OffsetMM, SeriesOhm: rod.SeriesOhm})
	}
	return o
}

func loopRelations(tolerance float64) []Relation {
	return []Relation{
		{"reference_ohm", nil, func(_ *Settings, topV float64) *Unfit {
			if topV >= fullPulseV {
				return nil
			}
			return &Unfit{"range", []any{plain(fullPulseV)}}
		}},
		{RodsKey, []string{"reference_ohm", "end_ohm"}, func(s *Settings, _ float64) *Unfit {
			_, err := NewLoop(s.loop(tolerance))
			alike, ok := errors.AsType[*AlikeError](err)
			if !ok {
				return nil
			}
			return &Unfit{"alike", []any{alike.State, alike.Other, alike.Ohm}}
		}},
	}
}

// fullPulseV is the supply of the test pulses with its tolerance.
const fullPulseV = 3.63
