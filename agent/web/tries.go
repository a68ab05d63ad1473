package web

import (
	"context"
	"net/netip"
	"sync"
	"time"
)

const (
	firstWait = 10 * time.Second
	mostWait  = 15 * time.Minute
	maxSteps  = 7 // doublings from firstWait to mostWait
	// forgetEvery is the time after which one wrong PIN is forgotten: who guesses on
	// gets one try in this time, and who mistyped is as before within three hours.
	forgetEvery = 15 * time.Minute
	// knownFor is how long somebody who signed in from an address is known there.
	knownFor = 30 * 24 * time.Hour
	maxLanes = 1024 // of each kind
)

// Wrong PINs before the waits begin.
const (
	freeOfOne     = 5  // of one person at one address, or in one known browser
	freeOfAddress = 30 // of all people at one address: some of them share it
	// freeOfPerson is of one person from all addresses. NIST SP 800-63B, section
	// 5.2.2, limits the failed attempts on one account to 100.
	freeOfPerson = 100
)

// lane is a row of wrong PINs.
type lane struct {
	of   map[string]*tally
	key  string
	free int
}

// tally counts wrong PINs. It fades.
type tally struct {
	wrong int
	at    time.Time // since when the next one is being forgotten
	until time.Time // no try is accepted before
}

// tries counts the wrong PINs of each person at each address, and of each of both
// with a longer patience: against many guesses from one place, and at one person from
// many places. The latter two could lock out from afar who is not meant, so they do
// not count for a browser or an address where this person signed in before.
type tries struct {
	both, addresses, people map[string]*tally
	signedIn                map[string]time.Time // who signed in where, and when
}

func newTries() tries {
	return tries{map[string]*tally{}, map[string]*tally{}, map[string]*tally{}, map[string]time.Time{}}
}

func at(name string, from netip.Addr) string { return oneAddress(from).String() + " " + name }

// lanes returns the rows that a try counts in, its own first, and whether the person
// is known there.
func (t *tries) lanes(a *attempt, badge bool, now time.Time) (all []lane, friend bool) {
	if badge {
		return []lane{{t.both, "browser " + a.badge, freeOfOne}}, true
	}
	own := lane{t.both, at(a.name, a.from), freeOfOne}
	if last, ok := t.signedIn[own.key]; ok && now.Sub(last) < knownFor {
		return []lane{own}, true
	}
	return []lane{own, {t.addresses, oneAddress(a.from).String(), freeOfAddress}, {t.people, a.name, freeOfPerson}}, false
}

// wait returns how long no try is accepted.
func (t *tries) wait(lanes []lane, now time.Time) (longest time.Duration) {
	for _, l := range lanes {
		if n := l.of[l.key]; n != nil {
			longest = max(longest, n.until.Sub(now))
		}
	}
	return longest
}

// wrong doubles the wait with each wrong try after the free ones.
func (t *tries) wrong(lanes []lane, now time.Time) {
	for _, l := range lanes {
		n := l.of[l.key]
		if n == nil {
			makeRoom(l.of, now)
			n = &tally{at: now}
			l.of[l.key] = n
		}
		n.fade(now)
		n.wrong = min(n.wrong+1, l.free+maxSteps)
		if over := n.wrong - l.free; over >= 0 {
			n.until = now.Add(min(firstWait<<over, mostWait))
		}
	}
}

// right forgets the wrong tries of this person here, and none of others.
func (t *tries) right(own lane, name string, from netip.Addr, now time.Time) {
	delete(own.of, own.key)
	if len(t.signedIn) >= maxLanes {
		oldest := ""
		for k, last := range t.signedIn {
			if oldest == "" || last.Before(t.signedIn[oldest]) {
				oldest = k
			}
		}
		delete(t.signedIn, oldest)
	}
	t.signedIn[at(name, from)] = now
}

func (n *tally) fade(now time.Time) {
	if gone := int(now.Sub(n.at) / forgetEvery); gone > 0 {
		n.wrong = max(0, n.wrong-gone)
		n.at = n.at.Add(time.Duration(gone) * forgetEvery)
	}
	if n.wrong == 0 {
		n.at = now
	}
}

// makeRoom forgets what has faded and, if that is not enough, the tally with the
// fewest wrong tries: made-up names and addresses displace only each other.
func makeRoom(all map[string]*tally, now time.Time) {
	if len(all) < maxLanes {
		return
	}
	least := ""
	for k, n := range all {
		if n.fade(now); n.wrong == 0 && !n.until.After(now) {
			delete(all, k)
		} else if least == "" || n.wrong < all[least].wrong {
			least = k
		}
	}
	if len(all) >= maxLanes {
		delete(all, least)
	}
}

const (
	maxQueue     = 16 // tries that wait to be hashed
	maxQueueEach = 2  // of one person at one address
)

// queue lets one after the other through, and bounds how many wait.
type queue struct {
	turn chan struct{}
	mu   sync.Mutex // guards what follows
	each map[string]int
	all  int
}

func newQueue() queue { return queue{turn: make(chan struct{}, 1), each: map[string]int{}} }

// enter waits for the turn. It is false when there is none in time.
func (q *queue) enter(ctx context.Context, key string) bool {
	q.mu.Lock()
	room := q.all < maxQueue && q.each[key] < maxQueueEach
	if room {
		q.all++
		q.each[key]++
	}
	q.mu.Unlock()
	if !room {
		return false
	}
	select {
	case q.turn <- struct{}{}:
		return true
	case <-ctx.Done():
		q.forget(key)
		return false
	}
}

func (q *queue) leave(key string) {
	<-q.turn
	q.forget(key)
}

func (q *queue) forget(key string) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.all--
	if q.each[key]--; q.each[key] <= 0 {
		delete(q.each, key)
	}
}
