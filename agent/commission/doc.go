// Package commission is the walk that a technician takes through a bay before
// it goes to work: each sensor is shown to follow what is done to it, the relay
// to obey and to fail open, and what a hand meter says becomes a calibration.
//
// It promises:
//
//   - A thing is proven by what is read, within a time, in three looks that
//     agree; never by a person's key alone. Where nothing is fitted that could
//     show it, the record says that a person saw it.
//   - The relay is closed only while the core that guards the bay would grant a
//     charge, with the person's word that the charger has no supply, for seconds,
//     and under a watch: current, a voltage that rises, a reading that is lost or a
//     permit that is withdrawn opens it at once.
//   - However the walk ends, the relay is open; what was proven until then is
//     kept.
//
// It knows the bay through Rig and the person through Console, so it runs in
// tests without either.
package commission
