// Package sensors opens the configured hardware and turns what the drivers
// return into the core's readings: one Set for each charging place, with sources
// to sample. It drives no line of the Pi: relays are their keeper's, and the test
// pulses of a level probe come from an expander on its bus.
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
// goroutine and never waits for it with a relay to serve.
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
//  4. agent/reading/sensor.go: its name, sampling interval, column in a trace, and what
//     it shows while nothing is wrong; agent/bay/sensors.go: its place in the readings and
//     in what the rules see.
//  5. Here: open it, and map its errors to faults in fault.go.
//  6. sensors/sim: its other side.
//
// A contact needs no driver, no code here or in agent/config and, unless its state follows
// from others, no code in the simulator: it is a field of wiring.Parts and a row of
// wiring.ContactTable.
//
// # Adding a sensor with its finding
//
// Counted by adding a smoke detector's contact whose finding blocks, by following the
// compiler and failing tests: 13 files by hand. agent/reading/sensor.go,
// agent/bay/sensors.go, sensors/wiring, agent/interlock/table.go and the file of its
// condition, en.json, es.json, deploy/bayward.yaml, dashboards/rules/bayward.yaml,
// agent/replay/schema.json; for the tests agent/interlock/cases_test.go,
// agent/bay/promise_test.go and agent/campaign/campaign_test.go. Nine are renewed by
// -update. A step of the commissioning walk is added separately.
//
// # The way of a reading
//
// The level of a cell has five types on its way from the driver to the page: level.Span
// (what the probe proves), reading.Level (with time and fault; in bay.Readings and in the
// inputs of the rules), water.Status (settled), bay.CellNow (with what was read with
// the rod), and the page's plan, which embeds it.
package sensors
