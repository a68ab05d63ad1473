// Command wiring draws the pictures of the wiring guide, ../wiring.md: go run
// ./deploy/wiring writes them beside this file. A test compares them with the stored
// ones.
//
// The symbols follow IEC 60617 in spirit: a resistor is a box, a fuse a box with
// a line through it. Everything is on a grid of 10 pixels.
package main

import (
	"fmt"
	"os"
	"path/filepath"
)

func main() {
	for _, p := range pictures() {
		name := filepath.Join("deploy", "wiring", p.name+".svg")
		if err := os.WriteFile(name, []byte(p.svg()), 0o644); err != nil { //nolint:gosec // a file of the repository
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
}
