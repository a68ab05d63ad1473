// Package sensors opens what the configuration wires up and turns what the
// drivers return into the core's readings: one Bay for each charging place, with
// sources to sample and a relay to drive.
//
// Every value leaves with its time and its fault. A part that does not answer
// is a fault in the reading and not an error of the program: the agent starts
// with a converter unplugged, and reads it once it is back. What cannot be
// opened at all, a bus that the Pi does not have or a line that another program
// holds, is an error of Open.
//
// The time of a reading is that of the beginning of its measurement, so that a
// value never counts as younger than it is.
//
// The package starts no goroutine. A source may block for as long as its bus
// does, up to several seconds for 1-wire, so whoever samples gives each source
// a goroutine of its own and never drives a relay from it.
package sensors
