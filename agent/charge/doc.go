// Package charge follows a charge from its readings and proves the pack full
// by evidence, never by elapsed time alone. It is pure: time comes in as a value.
//
// A charge is seen by its current or, where none is measured, by the voltage.
// Short pauses (a mains failure, a contactor that rests, a pulsed charger) do
// not end it. What counts as full, most trusted first: a hydrometer reading
// handed in, current tapered and steady at regulated voltage, compensated
// voltage unchanged over successive readings, ampere-hours returned over
// removed, the charger's own contact.
package charge
