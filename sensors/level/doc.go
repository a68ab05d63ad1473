// Package level turns what was measured at a level probe into the span that contains
// the level, or into the reason why the level is not known.
//
// There are three circuits.
//
// Loop is one rod or a ladder of rods in a supervised loop of two wires, with EndOhm
// between them at the far end. A wet rod puts its SeriesOhm and the path through the
// electrolyte in parallel with EndOhm, so a dry loop, a wet one, a broken wire and a
// short each have their own resistance. Lead in acid is not a resistor: a steady
// current polarises it to 2 V and eats it. So the loop is read by short pulses of both
// polarities. The difference of both answers, over that of the reference resistor,
// is the resistance, whatever voltage the electrodes have of their own and whatever
// the supply is. That voltage and the one that a pulse leaves behind are second
// evidence: electrodes in acid have one, a bridge of metal has none. What lies between
// two states is a film that drains, foam, crust or a corroded clamp, and never a level.
// Two limits of the circuit matter for the wiring. A break between EndOhm and a rod
// reads as dry (the safe side), so put EndOhm as close to the rod as possible. And
// because the electrolyte is at the potential of its cell, the loop must be separate
// from the pack.
//
// PotentialProbe is one rod of lead against the pack's minus: wet it shows the voltage of
// the cells below its own, which no dry rod, broken wire or short can. Its series
// resistor is high, so a film or crust of some hundred kilohms still reads as wet: after
// the level has fallen it shows dry later than a loop.
//
// Transmitter is a 4–20 mA transmitter with a shunt, with the bands of NAMUR NE 43,
// "Standardization of the signal level for the failure information of digital
// transmitters".
//
// The package is pure: a signal in, a span or an error out.
package level
