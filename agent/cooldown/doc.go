// Package cooldown decides when a pack that was proven full has rested and
// cooled enough to be watered, and estimates when that will be. It is pure.
//
// The rule: proven full, no current, the minimum rest over, and for some minutes
// without a break at or below the watering temperature, near the air, and no longer
// falling fast. No standard fixes a cool-down before watering; the limits are the
// project's own, and marked so where they are set. The estimate below is not part
// of the rule: a wrong estimate never shortens the wait.
//
// The estimate: Newton's law, dT/dt = -(T - Ta)/tau + q, where q is the effect of
// the sun, a warm neighbour or a draught. A recursive least-squares filter
// (Kalman's) follows the temperature, 1/tau and q over marks of five minutes; Ta is
// measured, so the estimate follows a drifting air temperature. Time to ready comes
// from running the same law forward. Its range, meant to hold in [ReadyCoverage] of
// all cases and to miss as often on one side as on the other, comes from courses drawn
// from the filter's covariance, the published spread of tau, and what the air and the
// sun may do. So it is known from the first minutes of a first night on, then a wide one.
// The tau learned in one night is the first guess of the next.
//
// Limits, each on the safe side or reported in [Status]:
//
//   - A sensor on the case shows less than the electrolyte's excess over the air,
//     see [Config].SensorShare. It lags by minutes, so it reads high while the pack
//     cools; nothing is learned in the first [lagFor].
//   - An air sensor that is itself in the sun reads high, so "near the air" comes
//     too early; the watering temperature and the fall still apply.
//   - Without an air sensor only the fall can decide, with a third of the limit
//     after twice the rest; an estimate then needs a tau from an earlier night.
//   - A sensor stuck at a plausible value looks the same as a pack at rest.
package cooldown
