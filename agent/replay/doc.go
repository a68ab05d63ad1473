// Package replay sends a recorded trace through the core, with no hardware and no
// clock, and writes the core's decisions: the same readings in, the same decisions
// out.
//
// A trace is CSV with a header; lines that begin with # are comments. The
// columns are time_s (seconds, never falling), pack_v, current_a (positive
// while charging), pack_c, ambient_c and level_mm, in any order. An absent
// column or an empty field is no reading. Recorded logs are sparse, so a
// column holds its last value for some time before it counts as stale.
package replay
