// Package bay is the core: it takes one tick of readings and returns the picture
// of the bay and the tick's events. It composes the rules and defines the words
// that all edges share. It does no I/O and has no clock, goroutines or random
// numbers: the same readings give the same pictures.
package bay
