// Package bay is the core: one tick of readings goes in, the picture of the bay
// and the events of the tick come out. It composes the rules and holds the words
// that all edges share. It does no I/O and has no clock, no goroutine and no
// random number: the same readings give the same pictures.
package bay
