/*
 * The charge relay between the loop that decides and the contactor, small
 * enough to be explored completely. A tick is the unit of time.
 *
 * Modelled: the permit with checking and minimum off time, a latched finding
 * and its memory, the refresh of the relay, the guard in the process,
 * a loop that hangs and comes back, the death of the process while the kernel
 * keeps the output driven, the outside timer relay that the heartbeat keeps
 * up, the unit's stop action, and the restart. Holds and open visits are
 * remembered as the latch is.
 *
 * Not modelled: the readings (see the enumeration and the random histories) and
 * welded contacts, which nothing in the chain can open.
 *
 * A latch is raised in a tick and written a little later. If the process dies
 * in between it is lost, unless its condition recurs: `owed` is set when it is
 * recorded. The relay has been open since the tick that raised it.
 *
 * The findings that latch:
 *   latch charge-overrun: as modelled; it blocks
 *   latch runaway: as modelled; it blocks
 *   latch contactor-stuck: an alarm; kept and released in the same way, but it
 *   blocks nothing, so "kept" applies to it without its last part
 *
 * Each BROKEN_ switch removes one part; the test shows that each is needed.
 */

#define GUARD 3   /* ticks: a closed relay without a refresh is opened */
#define HOLD 5    /* ticks: the outside timer relay lets go */
#define SETTLE 2  /* good ticks before anything is granted */
#define OFFMIN 2  /* ticks that the contactor stays open */
#define OLD 9     /* ages are counted up to here */

mtype = { up, hung, dead };
mtype process = dead;      /* before the first start the line is open */
bool ticked;               /* the loop has had its tick in this unit of time */

bool good;                 /* the readings are good */
bool trouble;              /* the condition of the latched finding */

bool granted, latch;       /* in the process */
byte settled, off;
byte guard;                /* of the guard in the process; 0: not armed */
bool tripped;              /* the guard has opened the relay */

bool record;               /* the latch as recorded */
bool owed;                 /* a latch that was recorded and not released */

bool line;                 /* the output, held by the kernel */
byte timer;                /* of the outside timer relay */
byte age = OLD;            /* ticks since one that granted */
bool stayed;               /* the permit outlived a tick that forbade it */

#ifdef BROKEN_TIMER
#define closed line /* no outside timer relay is wired */
#else
#define closed (line && timer > 0)
#endif

#ifdef BROKEN_BOTH
#define BROKEN_GUARD
#define BROKEN_BEAT
#endif

inline decide() {
	if
	:: trouble -> latch = true
	:: else
	fi;
	if
	:: good && !tripped -> settled = (settled < SETTLE -> settled + 1 : SETTLE)
	:: else -> settled = 0
	fi;
	if
	:: granted && (!good || latch || tripped) -> granted = false; off = 0
	:: !granted && good && !latch && settled == SETTLE && off == OFFMIN -> granted = true
	:: else
	fi;
	tripped = false;
	stayed = granted && (!good || latch)
}

inline drive() {
	line = granted;
	if
	:: granted -> guard = GUARD; age = 0
	:: else -> guard = 0
	fi;
	timer = HOLD
}

active proctype Loop() {
	do
	:: d_step { process == up && !ticked -> decide(); drive(); ticked = true }
	od
}

active proctype Clock() {
	do
	:: d_step { (ticked || process != up) ->
		ticked = false;
		age = (age < OLD -> age + 1 : OLD);
		timer = (timer > 0 -> timer - 1 : 0);
		off = (!granted && off < OFFMIN -> off + 1 : off);
#ifdef BROKEN_BEAT
		/* a heartbeat of its own thread, not of good ticks */
		if
		:: process != dead -> timer = HOLD
		:: else
		fi;
#endif
		if
		:: process != dead && guard > 0 ->
			guard--;
			if
#ifndef BROKEN_GUARD
			:: guard == 0 -> line = false; tripped = true
#endif
			:: else
			fi
		:: else
		fi }
	od
}

active proctype Record() {
	do
	:: d_step { process != dead && record != latch ->
		record = latch;
		owed = latch }
	od
}

/* A release clears a latch whose condition is gone. */
active proctype Person() {
	do
	:: d_step { process == up && latch && !trouble -> latch = false; record = false; owed = false }
	od
}

active proctype World() {
	do
	:: d_step { good = !good }
	:: d_step { trouble = !trouble }
	:: d_step { process == up -> process = hung }
	:: d_step { process == hung -> process = up }
	:: process != dead -> d_step { process = dead; guard = 0 };
		if
		:: d_step { line = false; timer = 0 } /* the unit's stop action */
		:: skip                               /* not even that */
		fi
	:: d_step { process == dead ->
#ifndef BROKEN_START
		line = false; /* opened before anything else is done */
#endif
		granted = false; settled = 0; off = 0; guard = 0; tripped = false; ticked = false;
#ifdef BROKEN_MEMORY
		latch = false;
#else
		latch = record;
#endif
		process = up }
	od
}

/* Never closed without a granted permit younger than the guard time; when the
   process has died, than the time of the outside timer relay. */
ltl young { [] (closed -> (age < GUARD || (process == dead && age < HOLD))) }

/* The permit never outlives a tick that forbids it. */
ltl prompt { [] !stayed }

/* A latch that is on record is never lost: nothing is granted until released. */
ltl kept { [] (owed -> (latch || process == dead)) && [] ((owed && process != dead) -> !(granted && ticked)) }

/* A loop that stays dead or hung opens the relay. */
ltl opens { [] ((<>[] (process != up)) -> <>[] !closed) }

/* A good pack eventually charges, once the program stays up. */
ltl charges { (<>[] (process == up && good && !trouble && !latch)) -> <>[] closed }
