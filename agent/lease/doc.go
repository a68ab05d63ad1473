// Package lease is the one room that may close a relay. A [Keeper] drives the lines
// and closes a relay only while it holds a lease for it, which somebody has to renew;
// a [Client] asks for leases. Between the two go the frames of protocol.go, over a
// socket to the program bayward-keeper or, with simulated lines, within one process.
//
// The package is built into the keeper's own program, so it needs little of the
// standard library and nothing else but periph's level of a line.
package lease
