/*
 * How a finding is raised and cleared, small enough to be explored completely: the leaky
 * count of bad time, for every sequence of good, bad and missing readings. A unit of time
 * is a tick, and a bad tick counts as many quarters as a good one wears off.
 *
 * Modelled: a finding that is not latched, on charge, with a raise time of RAISE ticks
 * and a clear time of CLEAR. Missing is the verdict of a reading that another finding
 * reports: it proves nothing good, and raises nothing by itself.
 *
 * Not modelled: ticks of different length (see TestShareOfBadTime), and the start of a
 * charge, which no bad tick allows (see the enumeration).
 *
 * Each BROKEN_ switch removes one rule; the test shows that each is needed.
 */

#define RAISE 3
#define CLEAR 4
#define QUARTERS 4
#define FULL (QUARTERS * RAISE)
#define WINDOW (3 * RAISE)
#define KEPT 511          /* as many bits as the window has ticks */

mtype:verdict = { good, bad, missing };
mtype:verdict now = good;

byte count;               /* of bad time, in quarters of a tick */
bool raised;
byte clearing;            /* ticks of all-clear */

/* For the claims. */
short past;               /* one bit for each tick of the window: it was bad */
byte hadBad;              /* how many of them are set */
byte unproven;            /* ticks since the last good one, up to RAISE */
byte calm;                /* good ticks in a row, up to FULL */
bool dense;               /* two that were not good came with fewer than four good ones between */
bool early;               /* cleared before CLEAR good ticks in a row */

inline wear() {
#ifdef BROKEN_FORGET
	count = 0             /* one good tick starts the raise time again */
#else
#ifndef BROKEN_LEAK
	count = (count > 0 -> count - 1 : 0)
#else
	skip                  /* nothing is ever forgotten */
#endif
#endif
}

#ifdef BROKEN_CAP
#define MOST 100
#else
#define MOST FULL
#endif

inline add() { count = (count + QUARTERS > MOST -> MOST : count + QUARTERS) }

inline judge() {
	if
	:: now == good -> wear()
	:: now == bad -> add()
#ifdef BROKEN_MISSING
	:: now == missing -> wear()
#else
	:: now == missing -> add()
#endif
	fi;
	if
	:: !raised && now == bad && count >= FULL -> raised = true; clearing = 0
	:: raised && now == good ->
		clearing = clearing + 1;
#ifdef BROKEN_CLEAR
		clearing = CLEAR;
#endif
		early = early || (clearing >= CLEAR && calm < CLEAR);
		raised = (clearing < CLEAR);
	:: raised && now != good -> clearing = 0
	:: else
	fi
}

inline watch() {
	hadBad = hadBad - ((past >> (WINDOW - 1)) & 1) + (now == bad);
	past = ((past << 1) & KEPT) | (now == bad);
	if
	:: now == good ->
		unproven = 0; calm = (calm < FULL -> calm + 1 : FULL)
	:: else ->
		dense = dense || (calm < QUARTERS);
		unproven = (unproven < RAISE -> unproven + 1 : RAISE); calm = 0
	fi
}

active proctype World() {
	calm = FULL;
	do
	:: d_step { now = good; watch(); judge() }
	:: d_step { now = bad; watch(); judge() }
	:: d_step { now = missing; watch(); judge() }
	od
}

/* Bad with nothing proven good for the raise time: raised. */
#define is_uninterrupted ((now == bad && unproven >= RAISE) -> raised)
ltl uninterrupted { [] is_uninterrupted }

/* Bad for half of the last three raise times: raised, however it came and went. */
#define is_share ((now == bad && 2 * hadBad >= WINDOW) -> raised)
ltl share { [] is_share }

/* Single disturbed ticks, one in five at most, raise nothing. */
#define is_spared (raised -> dense)
ltl spares { [] is_spared }

/* However long it was bad, four raise times of good ticks wear it off. */
#define is_faded (calm >= FULL -> count == 0)
ltl fades { [] is_faded }

/* Cleared by good ticks without a break alone. */
#define is_held (!early)
ltl held { [] is_held }

/* All of these at once. */
ltl safe { [] (is_uninterrupted && is_share && is_spared && is_faded && is_held) }
