// Package commission guides a technician through the commissioning walk of a bay
// before the bay goes into service. The walk shows that each sensor follows what is
// done to it and that the relay obeys and fails open. Readings of a hand meter
// become a calibration.
//
// It promises:
//
//   - Readings prove a thing, within a time limit, in three looks that agree. A key
//     press alone never does. Where no sensor could show it, the record states that
//     a person saw it.
//   - The relay is closed only while the core that guards the bay would grant a
//     charge and the person has confirmed that the charger has no supply, for
//     seconds only. The walk watches it and opens it at once on current, a rising
//     voltage, a lost reading or a withdrawn permit.
//   - However the walk ends, the relay is open, and everything proven so far is
//     kept.
//
// It reaches the bay through Rig and the person through Console, so tests need
// neither.
package commission
