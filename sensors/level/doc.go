// Package level turns the voltage of a level probe into the span that contains the
// level, or into the reason why the level is not known.
//
// There are two circuits.
//
// Loop is one rod or a ladder of rods in a supervised loop: excitation →
// PullOhm → node (measured) → field wire → EndOhm at the far end → back. A wet rod
// puts its SeriesOhm and the path through the electrolyte in parallel with EndOhm.
// A dry loop, a wet one, a broken wire and a short therefore each have their own
// voltage. A voltage in between belongs to no state and reads as implausible: a
// film that dries slowly, a corroded clamp, a wet plug. Two limits of the circuit
// matter for the wiring. A break between EndOhm and a rod reads as dry (the safe
// side), so put EndOhm as close to the rod as possible. And because the
// electrolyte is at the potential of its cell, the excitation must be separate
// from the pack, or share its negative pole deliberately.
//
// Transmitter is a 4–20 mA transmitter with a shunt, with the bands of NAMUR NE 43,
// "Standardization of the signal level for the failure information of digital
// transmitters".
//
// The package is pure: a voltage in, a span or an error out.
package level
