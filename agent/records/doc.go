// Package records makes what people are handed from the logbook: lists, tables
// for spreadsheets and programs, the printable record of one pack; and it takes
// in history that was kept by hand.
//
// It promises: the order of rows and columns is always the same; what is not
// known is an empty cell or null, never 0; a text that a spreadsheet could run
// as a formula is exported as a text, and reading our own export brings back
// the same text; tables go out row by row, so memory stays flat whatever the
// length; an import is written whole or not at all.
//
// Columns stand in columns.md, which a test holds to the code.
package records
