/*
 * The charge relay between the tick that decides and the contactor, small enough
 * to be explored completely. A unit of time is a tick of the agent.
 *
 * Modelled: the agent with its permit, its ticks and its connection; the keeper
 * with leases, trips and the heartbeat; the kernel, which keeps a line driven when
 * the keeper is gone, keeps a socket open while a process hangs, and closes it when
 * the process ends; the outside timer relay. Agent and keeper crash, are stopped
 * and go on, hang, and are started in any order. An agent that hangs and cannot be
 * killed keeps its connection while another one is started, and may come back. A
 * frame is lost, late or repeated. The keeper's line may stay high whatever is
 * ordered.
 *
 * Not modelled: the readings (see the enumeration and the random histories), what is
 * remembered over a restart (see order.pml), and welded contacts, which nothing in
 * the chain can open.
 *
 * A frame has no variable for its age. A newer one is sent only when the last was
 * answered, so the newest frame that closes is as old as the last tick that granted.
 *
 * Each BROKEN_ switch removes one rule; the test shows that each is needed.
 */

#define LEASE 3 /* units after its tick that a frame may keep the relay closed */
#ifdef BROKEN_HOLD
#define HOLD 2  /* a timer relay that is faster than a lease */
#else
#define HOLD 4  /* units after a beat that the outside timer relay lets go */
#endif
#define OLD (LEASE + HOLD) /* ages are counted up to here */

mtype:process = { dead, up, still } /* still: stopped, or hanging */
mtype:process agent = dead, keeper = dead;

mtype:peer = { nobody, current, former, gone } /* gone: closed, and the keeper has not read that yet */
mtype:peer peer = nobody; /* of the keeper's one connection */
bool former_lives;        /* an agent that hangs since before another one was started */

/* The agent. */
bool ticked;              /* it has had its tick in this unit of time */
bool proven;              /* the last tick was good */
bool granted;
bit known;                /* trips that it knows of; one bit is enough: an unknown one stops the count */
bool asked;               /* its last frame is not answered yet */

/* The socket. */
bool frame, closes;       /* a frame on its way, and whether it closes the relay */

/* The keeper. */
byte lease;               /* units that are left */
bit trips, told;          /* trips so far, and as in its last answer */

/* The kernel and the wires. */
bool line;                /* the relay's output */
bool stuck;               /* it stays high */
byte timer;               /* of the outside timer relay */

/* For the claims. */
byte since = OLD;         /* units since a tick that granted */
bool ordered;             /* what the connection's newest frame ordered */
bool unknown;             /* the contactor has opened unknown to the agent */
bool calm;                /* nothing goes wrong any more */

#ifdef BROKEN_TIMER
#define flows true        /* no outside timer relay is wired */
#else
#define flows (timer > 0)
#endif
#define closed ((line || stuck) && flows)
#define driven (keeper == up && line && flows)

inline open_all() { line = false; lease = 0 }

inline disconnect() {
	peer = nobody; frame = false; closes = false; ordered = false;
#ifndef BROKEN_GONE
	open_all()
#endif
}

inline withdraw() { granted = false; proven = false; unknown = false }

/* The first thing in everything that the keeper does. */
inline expire() {
	if
#ifndef BROKEN_LEASE
	:: line && lease == 0 -> open_all(); trips = 1 - trips; unknown = true
#endif
	:: else
	fi
}

#ifdef BROKEN_LATE
#define left LEASE
#else
#define left (since < LEASE -> LEASE - since : 0)
#endif

#ifdef BROKEN_TRIP
#define allowed true
#else
#define allowed (known == trips)
#endif

inline close() {
	if
	:: left > 0 && allowed -> line = true; lease = left; timer = HOLD
	:: else -> open_all()
	fi
}

inline take() {
	ordered = closes;
	if
	:: closes -> close()
	:: else -> open_all(); timer = HOLD
	fi;
	told = trips; asked = false; frame = false; closes = false
}

active proctype Keeper() {
	do
	:: d_step { keeper == up && frame ->
#ifndef BROKEN_ORDER
		expire();
#endif
		take() }
	:: d_step { keeper == up && peer == gone && !frame -> disconnect() }
	:: d_step { keeper == up && agent == up && (peer == nobody || peer == former && lease == 0) ->
		disconnect();
		peer = current; told = trips; known = trips; asked = false;
		withdraw() }
	od
}

/* Takes a trip into the picture. */
inline learn() {
	if
	:: told != known ->
		known = told;
#ifndef BROKEN_LEARN
		withdraw()
#endif
	:: else
	fi
}

inline send() { frame = true; closes = granted; asked = true; ticked = true }

active proctype Agent() {
	do
	:: d_step { agent == up && !ticked && peer == current && !asked -> /* a good tick */
		learn();
		granted = granted || proven; proven = true;
		since = (granted -> 0 : since);
		send() }
	:: d_step { !calm && agent == up && !ticked && peer == current && !asked -> /* something blocks */
		learn();
		granted = false; proven = false;
		send() }
	:: d_step { agent == up && !ticked && peer == current && asked && !(calm && keeper == up && frame) -> /* no answer in time */
		peer = gone; withdraw(); ticked = true }
	:: d_step { agent == up && !ticked && peer != current -> withdraw(); ticked = true }
	od
}

active proctype Clock() {
	do
	:: d_step { ticked || agent != up ->
		ticked = false;
		since = (since < OLD -> since + 1 : OLD);
		timer = (timer > 0 -> timer - 1 : 0);
		unknown = unknown || (line && timer == 0);
		lease = (lease > 0 -> lease - 1 : 0);
		if
		:: keeper == up ->
			expire();
#ifdef BROKEN_BEAT
			timer = HOLD /* a heartbeat of the keeper's own, not of fresh frames */
#endif
		:: else
		fi }
	od
}

active proctype World() {
	do
	:: calm = true

	:: d_step { !calm && agent == up -> agent = still }
	:: d_step { agent == still -> agent = up }
	:: d_step { !calm && agent != dead -> agent = dead; peer = (peer == current -> gone : peer) }
	:: d_step { !calm && agent == still && !former_lives -> /* it cannot be killed; another one is started */
		former_lives = true; peer = (peer == current -> former : peer);
		agent = up; withdraw(); asked = false; ticked = false }
	:: d_step { agent == dead -> agent = up; withdraw(); asked = false; ticked = false }

	:: d_step { former_lives -> former_lives = false; peer = (peer == former -> gone : peer) }
	:: d_step { !calm && former_lives && peer == former && keeper == up && !frame -> /* it goes on, and charges */
		expire(); since = 0; known = trips; unknown = false; ordered = true; close() }
#ifdef BROKEN_ONE
	:: d_step { !calm && former_lives && peer == current && keeper == up -> expire(); since = 0; close() }
#endif

	:: d_step { !calm && keeper == up -> keeper = still }
	:: d_step { keeper == still -> keeper = up
#ifndef BROKEN_ORDER
		; expire()
#endif
		}
	:: !calm && keeper != dead ->
		d_step { keeper = dead; peer = nobody; lease = 0; frame = false; closes = false; ordered = false };
		if
		:: line = false /* the unit's stop action */
		:: skip         /* not even that */
		fi
	:: d_step { keeper == dead ->
#ifndef BROKEN_START
		line = false; /* before anything else */
#endif
		trips = 0; told = 0; keeper = up }

	:: d_step { !calm && frame -> frame = false; closes = false } /* lost */
	:: d_step { !calm && keeper == up && peer == current && !frame -> /* a frame that closed comes again */
		expire();
#ifdef BROKEN_SEQUENCE
		close()
#else
		disconnect()
#endif
		}
	:: d_step { !calm && line -> stuck = true }
	od
}

/* Nothing is closed without a tick that granted within the time of a lease; with a
   keeper that does not run, plus the time of the outside timer relay. */
#define is_young ((line && flows) -> (since < LEASE || (keeper != up && since < LEASE + HOLD - 1)))
ltl young { [] is_young }

/* The relay is closed only on the order of the one agent that is connected. */
#define is_ordered (driven -> ordered)
ltl obeys { [] is_ordered }

/* A keeper that nobody is connected to drives nothing. */
#define is_held (driven -> peer != nobody)
ltl alone { [] is_held }

/* After an opening that the agent did not order, it closes only for an agent that has
   learnt of it and has begun again. */
#define is_known (driven -> !unknown)
ltl learnt { [] is_known }

/* All of these at once. */
ltl safe { [] (is_young && is_ordered && is_held && is_known) }

/* An agent or a keeper that stays away ends with an open contactor, even if the line
   stays high. */
ltl opens { ((<>[] (agent != up && !former_lives)) || (<>[] (calm && keeper != up))) -> <>[] !closed }

/* A good pack charges in the end, once everything stays up. */
ltl charges { (<>[] (calm && agent == up && keeper == up && !former_lives)) -> <>[] closed }
