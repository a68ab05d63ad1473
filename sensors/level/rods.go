package level

import (
	"errors"
	"fmt"
)

// rodRow and ladderRow are the two kinds of rods in a supervised loop. They
// differ in the number of rods and in the resistors, which must be precise if
// several rods share one voltage.
var (
	rodRow = row{
		kind: SingleRod,
		about: "One rod in a supervised loop. The loop is fed through pull_ohm from excitation_v and measured at the node; end_ohm sits at the far end, " +
			"so that a dry loop does not look like a broken wire; the wet rod adds series_ohm in parallel.",
		keys: loopKeys, rods: RodCount{1, 1, "must be one rod; several make a ladder"},
		opened: ErrOpen, shorted: ErrShort, relations: loopRelations(RodTolerance), open: loopOf(RodTolerance),
	}
	ladderRow = row{
		kind: Ladder,
		about: "Two to four rods in one such loop, each with a different series_ohm, so that every combination has its own voltage; " +
			"only wet rods below dry ones make sense.",
		keys: loopKeys, rods: RodCount{2, MaxRods, "must be two to four rods"},
		opened: ErrOpen, shorted: ErrShort, relations: loopRelations(LadderTolerance), open: loopOf(LadderTolerance),
	}
)

var loopKeys = []Key{
	{"excitation_v", 0.5, 5.5, "V", false, func(s *Settings) *float64 { return &s.ExcitationV }},
	{"pull_ohm", 100, 1e6, "ohm", false, func(s *Settings) *float64 { return &s.PullOhm }},
	{"end_ohm", 100, 1e7, "ohm", false, func(s *Settings) *float64 { return &s.EndOhm }},
	offsetKey,
}

// RodKeys are the settings of one rod.
var RodKeys = []KeyOf[Rod]{
	{"height_mm", -100, 300, "mm above the plate tops", false, func(r *Rod) *float64 { return &r.HeightMM }},
	{"series_ohm", 10, 1e6, "ohm", false, func(r *Rod) *float64 { return &r.SeriesOhm }},
}

// loopOf opens a loop with resistors of a tolerance.
func loopOf(tolerance float64) func(*Settings) (Probe, error) {
	return func(s *Settings) (Probe, error) {
		return NewLoop(s.loop(tolerance))
	}
}

func (s *Settings) loop(tolerance float64) LoopOpts {
	o := LoopOpts{ExcitationV: s.ExcitationV, PullOhm: s.PullOhm, EndOhm: s.EndOhm, Tolerance: tolerance}
	for _, rod := range s.Rods {
		o.Rods = append(o.Rods, Rod{HeightMM: rod.HeightMM + s.OffsetMM, SeriesOhm: rod.SeriesOhm})
	}
	return o
}

func loopRelations(tolerance float64) []Relation {
	return []Relation{
		{"excitation_v", nil, func(s *Settings, topV float64) string {
			if s.ExcitationV <= topV {
				return ""
			}
			return fmt.Sprintf("must be at most the input's %s V, so that an open loop can be told from an input at its end", plain(topV))
		}},
		{RodsKey, []string{"excitation_v", "pull_ohm", "end_ohm"}, func(s *Settings, _ float64) string {
			_, err := NewLoop(s.loop(tolerance))
			alike, ok := errors.AsType[*AlikeError](err)
			if !ok {
				return ""
			}
			return fmt.Sprintf("must give each state its own voltage: %q and %q cannot be told apart near %.2f V; "+
				"choose other values of series_ohm, pull_ohm or end_ohm", alike.State, alike.Other, alike.Volts)
		}},
	}
}
