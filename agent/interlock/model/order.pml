/*
 * The life of an order that locks the charge out (a hold, an open visit) or loosens
 * that again, from the person to the disk and through every kind of restart.
 *
 * Modelled: the person's order, the tick that takes it, the commit to the logbook,
 * the lockout file after the commit, the answer after both, or, without a commit in
 * time, the answer "in force, not yet on record", which promises nothing; a disk that
 * does not answer; crash and power cut at any point, in the middle of a write to the
 * lockout file too; a start with the logbook, with an older one (a restored backup, a
 * lost end), without it, and with a lockout file that is damaged or not there. Other
 * events of the bay only raise its count.
 *
 * A latch goes the same way, ordered by a finding instead of a person: it is on
 * record where an order would be answered. The findings that latch:
 *   latch charge-overrun: as modelled; it blocks
 *   latch runaway: as modelled; it blocks
 *   latch contactor-stuck: an alarm; kept and released in the same way, but it
 *   blocks nothing
 *
 * Not modelled: one damaged slot together with an older logbook, and a card whose
 * logbook and lockout file are both replaced by copies of the same earlier time. A
 * commit is whole or not at all: see the tests of the logbook.
 *
 * Each BROKEN_ switch removes one rule; the test shows that each is needed.
 */

#ifndef EVENTS
#define EVENTS 3          /* of the bay, then nothing more is ordered */
#endif
#define LAST (EVENTS + 2) /* a start in doubt is an event too; the count ends here */
#define HARMS 2           /* to the files */

/* The agent. */
bool running;
bool held;            /* the charge is locked out */
byte pending;         /* events that wait for the commit */
bool failing;         /* it knows that the record cannot be written */
bool doubted;         /* it started in doubt, which is not on record yet */

/* The order. */
mtype:order = { nothing, locks, loosens }
mtype:order order;
mtype:stage = { sent, taken, committed, filed }
mtype:stage stage;

/* The disk. */
bool stalled;
typedef Copy { bool there; bool held; byte count };
Copy book;            /* the logbook, with the bay's memory */
Copy backup;          /* an earlier copy of it */
Copy slot[2];         /* of the lockout file; there: its checksum is right */
bool file;            /* there is a lockout file */
bit newest;           /* the slot that was written last */
bool writing;         /* the other one is being written */

/* For the claims. */
bool promised;        /* answered as locked out, and not loosened since */
bool in_force;        /* the same, or answered as in force, in this run */
bool slipped;         /* an order took effect that was to be refused */
byte harms;           /* how often somebody or something has touched the files */
bool needless;        /* a start doubted files that nothing had touched */
byte last;            /* count that the lockout file has had with the newest logbook */
bool older;           /* the logbook is not that one, and nobody has looked since */

#define EMPTY(c) c.there = false; c.held = false; c.count = 0
#define COPY(to, from) to.there = from.there; to.held = from.held; to.count = from.count

inline done() { order = nothing; stage = sent }

inline locked() {
	if
	:: order == locks && held -> promised = true; in_force = true
	:: else
	fi
}

inline ask(what) { order = what; stage = sent }

proctype Person() {
	do
	:: d_step { running && order == nothing && book.count + pending < EVENTS -> ask(locks) }
	:: d_step { running && order == nothing && held && book.count + pending < EVENTS -> ask(loosens) }

	:: d_step { running && order != nothing && stage == filed -> locked(); done() }
#ifdef BROKEN_ANSWER
	:: d_step { running && order != nothing && stage == taken -> locked(); done() }
#endif
#ifdef BROKEN_EARLY
	:: d_step { running && order != nothing && stage == committed -> locked(); done() }
#endif
	:: d_step { running && order != nothing && (stage == taken || stage == committed) && (stalled || failing) ->
		in_force = in_force || order == locks;
#ifdef BROKEN_PROMISE
		locked();
#endif
		done() }
	od
}

inline loosen() {
	held = false; promised = false; in_force = false; slipped = failing; older = false;
	pending++; stage = taken
}

proctype Tick() {
	do
	:: d_step { running && order == locks && stage == sent ->
#ifndef BROKEN_WAIT
		held = true;
#endif
		pending++; stage = taken }
	:: d_step { running && order == loosens && stage == sent ->
		if
#ifndef BROKEN_LOOSEN
		:: failing -> done() /* refused */
#endif
		:: else -> loosen()
		fi }
	:: d_step { running && order == nothing && book.count + pending < EVENTS -> pending++ } /* some other event */
	:: d_step { running && stalled && pending > 0 && !failing -> failing = true }
	:: d_step { running && !stalled && pending == 0 && failing -> failing = false }
	od
}

inline commit() {
#ifdef BROKEN_WAIT
	held = held || order == locks;
#endif
	book.there = true; book.held = held; book.count = (book.count + pending < LAST -> book.count + pending : LAST);
	pending = 0; doubted = false;
	stage = (order != nothing && stage == taken -> committed : stage)
}

#define other (1 - newest)
#ifdef BROKEN_SLOTS
#define next newest
#else
#define next other
#endif

/* The file keeps what gave reason to doubt until the doubt is on record. */
#ifdef BROKEN_EVIDENCE
#define settled true
#else
#define settled (!doubted)
#endif

proctype Recorder() {
	do
	:: d_step { running && !stalled && !file -> /* whole before it has its name, and before any commit */
		slot[0].there = true; slot[0].held = true; slot[0].count = book.count; newest = 0; file = true }
	:: d_step { running && !stalled && pending > 0 && file && !writing -> commit() }
	:: d_step { running && !stalled && file && book.there && !writing && settled && (slot[newest].count != book.count || slot[newest].held != book.held) ->
		EMPTY(slot[next]); writing = true }
	:: d_step { running && !stalled && writing ->
		newest = next; COPY(slot[newest], book); last = book.count; writing = false }
	:: d_step { running && stage == committed && file && !writing && slot[newest].there && slot[newest].count == book.count && slot[newest].held == book.held ->
		stage = filed }
	od
}

/* The start. A slot whose checksum is wrong does not count, and the other one does. */
#ifdef BROKEN_FILE
#define file_held false
#else
#define file_held (file && (slot[newest].there && slot[newest].held || !slot[newest].there && slot[other].there && slot[other].held))
#endif
#define file_count (slot[newest].there -> slot[newest].count : slot[other].count)

#ifdef BROKEN_WITNESS
#define contradicted false
#else
#define contradicted (file_held && !book.held)
#endif
#ifdef BROKEN_COUNT
#define behind false
#else
#define behind (file && book.there && book.count < file_count)
#endif
#ifdef BROKEN_MISSING
#define missing false
#else
#define missing (book.there && !file)
#endif
#ifdef BROKEN_LOST
#define lost false
#else
#define lost (!book.there && file)
#endif
#ifdef BROKEN_NEW
#define is_new false
#else
#define is_new (!book.there && !file)
#endif
#ifdef BROKEN_DAMAGED
#define damaged false
#else
#define damaged (file && !slot[0].there && !slot[1].there)
#endif
#define doubt (contradicted || behind || missing || lost || is_new || damaged)

inline start() {
	held = book.held || file_held || doubt;
	needless = doubt && !contradicted && harms == 0;
	doubted = doubt; pending = (doubt -> 1 : 0);
	running = true
}

inline stop() {
	running = false; held = false; pending = 0; failing = false; doubted = false; in_force = false; writing = false;
	done()
}

proctype World() {
	do
	:: d_step { !running -> start() }
	:: d_step { running -> stop() } /* killed, or the power is cut */
	:: d_step { running -> stalled = !stalled }

	:: d_step { running && book.there && backup.count != book.count -> COPY(backup, book) }
	:: d_step { !running && harms < HARMS && backup.there -> COPY(book, backup); older = book.count < last; harms++ }
	:: d_step { !running && harms < HARMS && book.there -> EMPTY(book); older = true; harms++ }
	:: d_step { !running && harms < HARMS && file -> file = false; EMPTY(slot[0]); EMPTY(slot[1]); newest = 0; harms++ }
	:: d_step { !running && harms < HARMS && file -> EMPTY(slot[0]); EMPTY(slot[1]); harms++ }
	:: d_step { !running && harms < HARMS && (book.there || file) ->
		EMPTY(book); file = false; EMPTY(slot[0]); EMPTY(slot[1]); newest = 0;
		last = 0; older = true; harms++ } /* another card */
	od
}

/* A bay that charges, with a logbook and a lockout file that agree. */
init { atomic {
	book.there = true; backup.there = true; file = true; slot[0].there = true;
#ifndef BROKEN_SLOTS
	slot[1].there = true;
#endif
	run Person(); run Tick(); run Recorder(); run World() } }

/* What was answered as locked out is locked out, after any restart too. */
#define is_kept ((running && promised) -> held)
ltl kept { [] is_kept }

/* An order that locks is in force when it is answered, on record or not. */
#define is_prompt ((running && in_force) -> held)
ltl prompt { [] is_prompt }

/* An order that loosens takes no effect while the record fails. */
ltl refused { [] !slipped }

/* Crashes and power cuts alone give no reason to doubt. */
ltl trusted { [] !needless }

/* A logbook that is not the newest lets nothing go until a person does. */
#define is_noticed ((running && older) -> held)
ltl noticed { [] is_noticed }

/* All of these at once. */
ltl safe { [] (is_kept && is_prompt && !slipped && !needless && is_noticed) }
