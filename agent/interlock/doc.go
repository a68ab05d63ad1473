// Package interlock decides the permit: rules over readings, with the table of
// findings that explain it. It is pure, and everything that is not proven good
// withholds.
package interlock
