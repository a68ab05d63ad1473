package config

import "fmt"

// What the states of a rod loop must leave room for; the probe's reader allows
// for the same.
const (
	pathMaxOhm      = 1000 // through the electrolyte and the crust on a rod
	shortMaxOhm     = 100
	leakMinOhm      = 1e6 // across a broken wire
	supplyTolerance = 0.01
	rodTolerance    = 0.05 // ordinary resistors
	ladderTolerance = 0.01 // precision resistors
)

// loopBand is the voltages that one state can show, as shares of the
// excitation.
type loopBand struct {
	name      string
	low, high float64
}

// loopSums computes the voltages of a loop.
type loopSums struct {
	*Level
	tolerance float64
}

func sumsOf(l *Level) loopSums {
	if l.Kind == "ladder" {
		return loopSums{l, ladderTolerance}
	}
	return loopSums{l, rodTolerance}
}

// siemens is the conductance behind the node with the rods wet whose bits are
// set, every resistor at a share of its value, and a path through the
// electrolyte.
func (s loopSums) siemens(wet uint, share, pathOhm float64) float64 {
	g := 1 / (s.EndOhm * share)
	for i, r := range s.Rods {
		if wet>>i&1 == 1 {
			g += 1 / (r.SeriesOhm*share + pathOhm)
		}
	}
	return g
}

// share is the node's voltage as a share of the excitation: lowest (-1),
// highest (+1) or as marked (0).
func (s loopSums) share(siemens, sign float64) float64 {
	pull := s.PullOhm * (1 - sign*s.tolerance)
	return (1 + sign*supplyTolerance) / (1 + pull*siemens)
}

// bands has every combination of wet rods at its own number, then shorted,
// then open.
func (s loopSums) bands() []loopBand {
	var all []loopBand
	for wet := range uint(1) << len(s.Rods) {
		all = append(all, loopBand{
			wetRods(wet, len(s.Rods)),
			s.share(s.siemens(wet, 1-s.tolerance, 0), -1), s.share(s.siemens(wet, 1+s.tolerance, pathMaxOhm), +1),
		})
	}
	return append(all,
		loopBand{"a short", -supplyTolerance, s.share(1.0/shortMaxOhm, +1)},
		loopBand{"a broken wire", s.share(1/leakMinOhm, -1), 1 + supplyTolerance})
}

func wetRods(wet uint, rods int) string {
	if wet == 0 {
		return "no rod wet"
	}
	name, sign := "rod", " "
	for i := range rods {
		if wet>>i&1 == 1 {
			name += fmt.Sprintf("%s%d", sign, i+1)
			sign = "+"
		}
	}
	return name + " wet"
}

// loopStates: each state that makes sense (the lowest rods wet, from none to
// all) must have a voltage that no other state can show.
func (c *checker) loopStates(rods, field string, l *Level) {
	if !c.usable(field+".pull_ohm", field+".end_ohm") {
		return
	}
	s := sumsOf(l)
	bands := s.bands()
	for n := range len(l.Rods) + 1 {
		wet := uint(1)<<n - 1
		v := s.share(s.siemens(wet, 1, 0), 0)
		for i, b := range bands {
			if uint(i) != wet && v >= b.low && v <= b.high {
				c.reject(rods, fmt.Sprintf("must give each state its own voltage: %q and %q cannot be told apart near %.2f V; "+
					"choose other values of series_ohm, pull_ohm or end_ohm", bands[wet].name, b.name, v*l.ExcitationV))
				return
			}
		}
	}
}
