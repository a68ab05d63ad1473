// Package logbook is the durable record of the bays: events, numbered without gaps
// for each bay, and the memory from which the core continues after a restart. It is
// one SQLite file with one owner.
//
// What it promises:
//   - What Append, Write or SaveMemory acknowledged survives a crash and a power
//     cut, as far as the disk keeps what it reports as synced.
//   - Events of one bay are numbered 1, 2, 3, … forever, across restarts.
//   - A damaged file is set aside and never deleted; a new one is begun.
//   - Nothing is stored twice: the outbox of the message broker is the events
//     behind a cursor for each bay.
//
// What it does not promise: the wall clock of a record may be wrong (a Pi has no
// battery clock). So every record also has the clock since boot and the boot's ID,
// and a mark whether the wall clock was trusted.
//
// The Recorder is between the loop and the file: the loop never waits for a disk.
package logbook
