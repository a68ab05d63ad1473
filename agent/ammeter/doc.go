// Package ammeter looks after the zero and the noise of the current sensor of a bay. It is
// pure: time comes in as a value.
//
// # Zero
//
// While nothing can flow, what the sensor shows is its zero, and the meter takes it off
// every reading. Nothing can flow while open is ordered, the keeper obeys, and either
//
//   - the feedback contact shows open and the cells are at a rest voltage, which a charger
//     that still holds them would lift; or
//   - no pack is plugged in, so there is no voltage and no level, and no contact shows
//     closed.
//
// A pack's own load can still flow past an open contactor: a machine that stays plugged
// in, a charger whose output stays on the battery. It only discharges, and it comes and
// goes. So with a pack in place the zero rises after three windows that agree, and falls
// only after an hour of windows in three openings. Without a pack it follows at once.
//
// The zero may be off by [MostRate] of the capacity per hour. Beyond that the reading is
// a fault, [reading.ZeroOff], and blocks like a broken wire; it ends by a window within
// the bound. A discharge beyond the bound counts as a load unless it stays the same for
// four hours or no pack is there.
//
// # Noise
//
// Noise is measured whenever the cells rest. Where it is more than a thousandth of the
// capacity the readings are averaged, so that what is left is half a thousandth: a true
// current of one per cent is then twenty of its deviations from nothing. A step goes
// through after two readings. Noise beyond [MostRate] is a fault, [reading.Noisy].
package ammeter
