// Package lockout keeps, in a small file of its own beside the logbook, what a life
// may depend on: for each bay whether it is on hold, whether a visit is open, which
// findings are latched, and the number of its newest event on record.
//
// The logbook has all of that too. The file is a second witness: a logbook that is
// older than the file, or that does not know of a hold that the file knows, is not
// the newest one, or has lost its end.
//
// The file has two slots. A write goes to one, is synced, then goes to the other and
// is synced again. So there is always a whole slot, whatever happens to the write;
// and what is acknowledged is there twice, so that damage to one slot loses nothing.
// The newest slot whose checksum is right counts. The file is never truncated.
//
// # Format, version 1
//
// All numbers are unsigned and big endian. Slot 0 begins at byte 0, slot 1 at byte
// 8192. What follows the checksum in a slot has no meaning. A slot is:
//
//	 0  8  "BAYWLOCK"
//	 8  2  version of the format: 1
//	10  2  number of bays
//	12  4  number of bytes of the bays together
//	16  8  generation: 1 for the first write, one more for each
//	24  8  mark of the logbook that this file goes with
//	32  …  the bays, in the order of their names
//	 …  4  CRC-32C (Castagnoli) over all bytes of the slot before it
//
// A bay is:
//
//	1      length of its name, 1 to 255
//	n      its name
//	1      bit 0: on hold; bit 1: a visit is open; bit 2: doubted; the others are 0
//	8      number of its newest event on record, 0 for none
//	1      number of latched findings, and for each of them, in the order of their names:
//	1+n    length of its name, 1 to 255, and its name
package lockout
