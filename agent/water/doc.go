// Package water turns the electrolyte level into millilitres per cell, tracks the
// water lost by gassing, and forecasts when the level reaches the lowest level for
// charging. It is pure.
//
// Settled level. A level is referred to 25 °C by the expansion of the acid, less
// the gas that a charge holds among the plates. It is not corrected for the state
// of charge: a discharge swells the plates by 0.98 cm³ and shrinks the acid by 0.84
// to 1.00 cm³ for each ampere-hour and cell (molar volumes of lead, its dioxide and
// sulfate, and the density of the acid), which cancels within the uncertainty. The
// remainder, at most 2 mm in a deep discharge of a common cell, is within the
// lowest level for charging; amounts are only shown for a full pack.
//
// Cells. One cell has the probe. A cell that nobody has read is estimated from it: it
// may use 15 % more than the pilot and counts as no higher than it. A cell that a level
// rod has read is where that reading, the water recorded since and its own rate of loss
// put it, whatever the probe of another cell shows. A level reading that differs from
// the estimate moves the safe end at once and the other end only when a second reading
// agrees: a wrong reading makes the bay safer, never less safe. Likely levels decide the
// amounts and the call.
//
// Beside them each cell has careful bounds (known.go), from what was last measured in
// that very cell: they widen with each ampere-hour of gassing and each pour. Recorded
// water raises the upper one at once, and the lower one only when a rod or the
// cell's own probe has shown it: a cell that was passed over is recorded with the rest,
// also as filled to the mark. The lower one of all cells decides the permit: at the plate tops the
// charge is blocked until the cells are read (level-doubted). No amount takes a cell above
// the ceiling by the upper one. The bounds also say which cells to read, and when
// (readround.go). Water that nobody recorded moves none of them (unrecorded.go). What
// readings show beyond gassing and their errors leaks: the lower bound then sinks by the
// day as well (leak.go).
//
// People pour first and type later. So the level before a visit is the last calm one
// before it rose: water that the probe already showed when the visit was opened is not
// booked a second time. A sheet that is handed in later and says "to the mark" levels the
// cells at the mark as of the moment at which the probe's level rose.
//
// Where the configuration does not say which cell has the probe, the pilot cell is
// treated like the others, which only makes its estimate wider. Where it does, that
// cell is where its probe shows it, or as low as a rod has read it. Its bounds take the
// probe's word only when the probe has just shown the water of a visit, or when the
// level has passed a rod: a probe that does not move proves nothing.
//
// Amounts are based on the free surface. Between the plates less of the section is
// liquid, 30 % or more. To cover bare plates the least amount that can do it is
// proposed, and then another look; no amount for bare plates passes the ceiling even
// with three tenths of the section free. A level rod reads nothing below the tops,
// so a cell that it showed dry counts as bare until a level is read.
//
// Probes that leave more than 6 mm open (a single rod) measure only the moment when
// the level passes a rod. From then on, or from a visit or a level reading, the
// balance counts; before that, amounts are unknown.
//
// Odd cells are found from the water recorded over three or more visits: measured, or
// worked out of a cell that was filled to the mark. An amount poured as proposed
// measures nothing, so it judges nothing.
package water
