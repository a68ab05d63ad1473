// Package charge follows a charge from its readings and proves the pack full by
// evidence, never by elapsed time alone. It is pure: time comes in as a value.
//
// # What it follows
//
// The tracker detects a charge by its current or, where none is measured, by the
// voltage. Pauses (a mains failure, a contactor off, a pulsed charger) end it only
// after half an hour. After a gap of more than 15 minutes in the readings, or after
// the pack was gone, the tracker keeps nothing that another pack or a shift's work
// could have changed.
//
// It counts ampere-hours by the trapezoid rule. The stated drift of the count,
// [Status.OutPlusAh], is what a sensor's offset may hide while the pack rests (up
// to 0.2 A for each 100 Ah) plus one per cent of what was taken out.
//
// # What counts as full
//
// Most trusted first:
//
//   - specific gravity entered by the technician, within 0.005 of full, and no
//     other cell of that round more than 0.015 below (NAVEDTRA 14344);
//   - current tapered and steady at a voltage that the charger holds, over three
//     half hours;
//   - voltage referred to 25 °C steady over three half hours on a charger that
//     does not hold it;
//   - ampere-hours returned over removed, with the drift counted against it, at
//     the gassing voltage and a finishing current;
//   - the charger's own contact, if it opened and closed in this charge, after
//     the gassing voltage was reached.
//
// "Steady" is stricter than the published readings by hydrometer (TM 5-4320-258-12:
// three half-hour intervals; TM 10-3930-644-14&P: three hourly readings), see
// plateau.go. In addition, gassing must explain the steady current: at most three
// times what the published law gives for this voltage and temperature. A steady
// current above that comes from old plates or from a shorted cell among good ones.
// It proves the pack full only after two hours of rest at a voltage that needs all
// cells. A pack that was proven full and then rests too low no longer counts as
// full: [RestsTooLow].
//
// # What resolves a missed full
//
// No evidence comes before 90 minutes of steady readings. A charge that never gives
// any ends in the overrun (by default 18 h), which calls the technician; a
// hydrometer settles it at any time.
//
// # Limits
//
// One shorted cell hides among many: among 12 it is found during the charge or
// right after it, among 24 within two to three hours of rest, among 40 only by a
// hydrometer or after a night. A charger that ends in less than 90 minutes on a
// pack plugged in already full leaves it unproven; so does one that finds no more
// than 0.4 A for each 100 Ah to deliver. A low electrolyte level reads high on the
// hydrometer. All ceilings and forecasts are advisory; bayward is not a certified
// safety device.
package charge
