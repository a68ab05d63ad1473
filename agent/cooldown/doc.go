// Package cooldown decides when a pack that was proven full has rested and
// cooled enough to be watered, and estimates when that will be. It is pure.
//
// The rule: proven full, no current, the minimum rest gone by, and for some
// minutes on end at or below the watering temperature, near the air, and no
// longer falling fast. No standard fixes a cool-down before watering; the limits
// are the project's own and say so where they are set. The estimate below never
// takes part in the rule: a wrong estimate makes nobody wait less.
//
// The estimate: Newton's law, dT/dt = -(T - Ta)/tau + q, where q is what the
// sun, a warm neighbour or a draught adds. A recursive least-squares filter
// (Kalman's) follows the temperature, 1/tau and q over marks of five minutes;
// Ta is measured, so a drifting air is in it. Time to ready comes from the same
// law run forward, and its range, meant to hold in [ReadyCoverage] of all
// cases, from the filter's covariance and what the air and the sun may do.
// What was learned of tau in one night is the first guess of the next.
//
// Limits, each on the careful side or said in [Status]:
//
//   - A sensor on the case shows less than the electrolyte's excess over the
//     air, see [Config].SensorShare. Its lag of minutes makes it read high while
//     the pack cools; nothing is learned in the first [lagFor].
//   - A sensor of the air that stands in the sun itself reads high, so "near the
//     air" comes too early; the watering temperature and the fall still hold.
//   - Without a sensor of the air the fall alone must tell, with a third of the
//     limit after twice the rest; an estimate is then made only when an earlier
//     night taught tau.
//   - A sensor that is stuck at a plausible value cannot be told from a pack that
//     is at rest.
package cooldown
