// Package replay sends a recorded trace through the core, with no hardware and no
// clock, and writes the core's decisions: the same readings in, the same decisions
// out. The core is the live one: the same set-up, every sensor, orders as they were
// given, and packs that take turns at a bay with their histories.
//
// A trace is CSV with a header; lines that begin with # are comments. The columns, in
// any order, are those of the table columns: time_s (seconds, never falling), and one
// for each sensor. An absent column or an empty field is no reading; a field may also
// name the sensor's fault. A sensor without a column is not fitted. Recorded logs are
// sparse, so a column holds its last value for some time before it counts as stale.
//
// What people did is a second file, see [Orders]. schema.json describes every key that
// is read or written.
package replay
