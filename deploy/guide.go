// Package deploy carries the wiring guide into the program, whose page serves it: a Pi
// has no screen, and whoever wires a bay has a phone.
//
// Its tests check the repository against its own rules: which package may import which,
// what the pure core may not use, and that everything exported has a comment. The rules
// are data, each with its reason, so that a failure explains why.
package deploy

import "embed"

// Guide is the wiring guide, as it is in the repository.
//
//go:embed wiring.md converters.md first-hardware.md wiring/*.svg wiring/faults.md
var Guide embed.FS
