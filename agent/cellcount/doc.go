// Package cellcount judges by the voltage at rest whether a pack has the number of cells
// that it is configured with. It is pure: time comes in as a value.
//
// One cell more or less is 8 % of the voltage of 12 cells and 2.5 % of that of 40. What a
// cell rests at after a full charge is known to half a per cent: the rule "gravity plus
// 0.845" (DOE-HDBK-1084-95) to 5 mV, the full gravity of the pack to 0.010, what the
// charge left missing to 3 %, what the charge left at the surface of the plates as in
// electrolyte.StateOfChargeFromRest, and the voltmeter to half a per cent. So a number is
// judged by the rest after a charge that ended full, from four hours on, and nothing of
// how the charge is found full depends on the number itself:
//
//   - current and voltage were steady over the last hour with current, at no more than
//     7 % of the capacity;
//   - the voltage on charge was at least 1.09 times that of the rest: a cell that gasses
//     over one that rests.
//
// With gravities of at least half of the cells, read in the rest, their mean replaces the
// full gravity and the charge, and no full charge is needed.
//
// The verdict names the number that fits when it is more than [alarmDevs] deviations
// away from the configured one. A dead or reversed cell looks like one or two cells less,
// so nobody can say by the voltage which of the two it is. A charger that holds a float
// voltage looks like more cells: for those the voltage must also have sunk as that of a
// resting cell does.
//
// A pack without a current sensor has no verdict: its rest cannot be told from a slow
// charge.
package cellcount
