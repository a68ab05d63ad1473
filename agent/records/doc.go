// Package records makes what people get from the logbook: lists, tables for
// spreadsheets and programs, and the printable record of one pack. It also imports
// history that was kept by hand.
//
// It promises: the order of rows and columns is always the same; an unknown value
// is an empty cell or null, never 0; a text that a spreadsheet could run as a
// formula is exported as a text, and reading our own export returns the same text;
// tables are written row by row, so memory stays flat at any length; an import is
// written whole or not at all.
//
// The columns are listed in columns.md, which a test checks against the code.
package records
