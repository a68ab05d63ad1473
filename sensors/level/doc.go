// Package level turns the voltage of a level probe into the span in which the
// electrolyte stands, or into the reason why it does not tell.
//
// Two circuits are known.
//
// Loop is one rod or a ladder of rods in a supervised loop: excitation →
// PullOhm → node (measured) → field wire → EndOhm at the far end → back. A rod
// that is wet puts its SeriesOhm and the path through the electrolyte in
// parallel to EndOhm. So a dry loop, a wet one, a broken wire and a short each
// have their own voltage. What lies between them is nobody's voltage and reads
// as implausible: a film that dries slowly, a corroded clamp, a wet plug. Two
// limits of the circuit should be known to whoever wires it: a break between
// EndOhm and a rod reads as dry (the careful side), so EndOhm belongs as near
// to the rod as it can be; and the excitation has to be separate from the pack
// or share its negative pole on purpose, as the electrolyte is at the
// potential of its cell.
//
// Transmitter is a 4–20 mA transmitter over a shunt, judged by NAMUR NE 43,
// "Standardization of the signal level for the failure information of digital
// transmitters".
//
// The package is pure: a voltage in, a span or an error out.
package level
