// Package sensors opens the configured hardware and turns what the drivers
// return into the core's readings: one Bay for each charging place, with sources
// to sample and a relay to drive.
//
// Every value has its time and its fault. A part that does not answer is a fault
// in the reading, not an error of the program: the agent starts with a converter
// unplugged, and reads it once it is back. Hardware that cannot be opened at all,
// such as a bus that the Pi does not have or a line that another program holds,
// is an error of Open.
//
// The time of a reading is when its measurement began, so that a value never
// counts as newer than it is.
//
// The package starts no goroutines. A source may block as long as its bus does,
// several seconds for 1-wire, so the caller samples each source in its own
// goroutine and never drives a relay from there.
//
// # Adding a part
//
//  1. sensors/PART: a driver on periph's interfaces and the standard library, in
//     the shape of sensors/ads1115, with a test on a scripted bus and one on a
//     simulated register file.
//  2. sensors/wiring: its keys, each with what it accepts; deploy/bayward.yaml: an
//     example.
//  3. agent/config/wiring.go: a row of parts, with its check and the hardware that
//     it uses.
//  4. agent/reading/sensor.go and agent/bay/sensors.go: its name and its place in
//     the readings.
//  5. Here: open it, and map its errors to faults in fault.go.
//  6. sensors/sim: its other side.
package sensors
