// Package water turns the electrolyte level into millilitres per cell, keeps
// the balance of water lost by gassing, and forecasts when the lowest level for charging is
// reached. It is pure.
//
// Settled level. A level is referred to 25 °C by the expansion of the acid and
// freed of the gas that a charge holds among the plates. It is not corrected for
// the state of charge: a discharge swells the plates by 0.98 cm³ and shrinks the
// acid by 0.84 to 1.00 cm³ for each ampere-hour and cell (molar volumes of lead,
// its dioxide and sulfate, and the density of the acid), which cancels within
// what is known. What is left, at most 2 mm in a deep discharge of a common
// cell, is inside the lowest level for charging; amounts are only told for a full pack.
//
// Cells. One cell has the probe; the others are estimated from the last reading
// of a level rod, the water recorded since, and their own use against that of
// the pilot cell. Each estimate has three figures: the likely one, the lowest,
// by which the permit and the call go, and the highest, past which no amount
// may carry a cell over the ceiling. A cell that was never measured may use
// 15 % more than the pilot and counts as no higher than it. A level reading that
// does not agree with the estimate lowers the one end at once and moves the
// other only when a second reading agrees: a wrong reading makes the bay more
// careful and never less.
//
// Which cell has the probe is not known here. So the pilot cell is treated like
// the others, which only makes its estimate wider.
//
// Amounts go by the free surface. Between the plates less of the section is
// liquid, so an amount for bare plates overshoots a little; it is held so that
// even with three tenths of the section free it stays under the ceiling.
//
// Probes that leave more than 6 mm open (a single rod) measure nothing but the
// moment at which the level passes a rod. From there, from a visit or from a
// level reading the balance counts on; before, amounts are unknown.
//
// Odd cells come from the water recorded over three or more visits. That says
// something only where people fill to a mark and write down what it took; who
// pours what was told and no more measures nothing.
package water
