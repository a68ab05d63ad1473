package web

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/crypto/bcrypt"

	"bayward/agent/order"
)

// Person may sign in.
type Person struct {
	Name  string
	Right order.Right
	Hash  string // bcrypt, as HashPIN makes it
}

// pinCost is set so that one guess takes a good part of a second on a small
// computer.
const pinCost = 11

// Bounds of a PIN or passphrase, in bytes; bcrypt reads no more than the upper
// bound.
const (
	MinPINBytes = 6
	MaxPINBytes = 72
)

// ErrPIN reports that a PIN has an unusable length.
var ErrPIN = fmt.Errorf("a PIN or passphrase has %d to %d bytes", MinPINBytes, MaxPINBytes)

// HashPIN returns the hash for the configuration. It returns ErrPIN if the PIN is
// too short or too long.
func HashPIN(pin string) (string, error) {
	if len(pin) < MinPINBytes || len(pin) > MaxPINBytes {
		return "", ErrPIN
	}
	hash, err := bcrypt.GenerateFromPassword([]byte(pin), pinCost)
	if err != nil {
		return "", fmt.Errorf("hash the PIN: %w", err)
	}
	return string(hash), nil
}

// errWrongPIN is the error of a failed sign-in.
var errWrongPIN = errors.New("name or PIN is wrong")

// errBusy means that the try was not looked at: others are before it.
var errBusy = errors.New("too many people are signing in at the same time; try again in a few seconds")

// tooManyError gives the time for which no try is accepted.
type tooManyError struct{ wait time.Duration }

// Error returns the text for the log.
func (e tooManyError) Error() string { return "too many wrong PINs; wait " + e.wait.String() }

const (
	// sessionFor is long enough for a shift.
	sessionFor  = 12 * time.Hour
	maxSessions = 256
)

// gate holds the people and their sessions. Sessions are kept in memory: after a
// restart people sign in again, and their visits are still open.
type gate struct {
	people map[string]Person
	now    func() time.Time
	dummy  string // compared for names that do not exist
	// Hashing is slow by design. Who is known does not wait for strangers.
	strangers, friends queue

	mu       sync.Mutex // guards what follows
	sessions map[[sha256.Size]byte]session
	tries    tries
}

type session struct {
	name  string
	until time.Time
}

func newGate(people []Person, now func() time.Time) *gate {
	g := &gate{
		people: map[string]Person{}, now: now, strangers: newQueue(), friends: newQueue(),
		sessions: map[[sha256.Size]byte]session{}, tries: newTries(),
	}
	cost := bcrypt.MinCost
	for _, p := range people {
		g.people[p.Name] = p
		if c, err := bcrypt.Cost([]byte(p.Hash)); err == nil {
			cost = max(cost, c)
		}
	}
	dummy, err := bcrypt.GenerateFromPassword([]byte("nobody's"), cost)
	if err != nil {
		panic("bug: " + err.Error()) // the cost comes from a hash that bcrypt accepts
	}
	g.dummy = string(dummy)
	return g
}

// attempt is a try to sign in.
type attempt struct {
	name, pin string
	from      netip.Addr
	badge     string // of the browser, "" for none; see badge.go
}

// enter checks a name and a PIN. It hashes one PIN of a stranger and one of somebody
// known at a time, so guessing cannot take the processor from the ticks, and drops a
// try that waits longer than its caller. While a try must wait, the right PIN must
// wait as well; see tries.
func (g *gate) enter(ctx context.Context, a attempt) (Person, error) {
	person, exists := g.people[a.name]
	badge := exists && person.badged(a.badge)
	lanes, friend := g.lanes(&a, badge)
	if wait := g.mustWait(lanes); wait > 0 {
		return Person{}, tooManyError{wait}
	}
	line := &g.strangers
	if friend {
		line = &g.friends
	}
	if !line.enter(ctx, lanes[0].key) {
		return Person{}, errBusy
	}
	defer line.leave(lanes[0].key)
	if wait := g.mustWait(lanes); wait > 0 { // tries earlier in the queue may have been wrong
		return Person{}, tooManyError{wait}
	}
	hash := person.Hash
	if !exists {
		hash = g.dummy
	}
	right := bcrypt.CompareHashAndPassword([]byte(hash), []byte(a.pin)) == nil
	g.mu.Lock()
	defer g.mu.Unlock()
	if !exists || !right {
		g.tries.wrong(lanes, g.now())
		return Person{}, errWrongPIN
	}
	g.tries.right(lanes[0], a.name, a.from, g.now())
	return person, nil
}

func (g *gate) lanes(a *attempt, badge bool) (lanes []lane, friend bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.tries.lanes(a, badge, g.now())
}

func (g *gate) mustWait(lanes []lane) time.Duration {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.tries.wait(lanes, g.now())
}

// begin opens a session for a token that only the browser keeps.
func (g *gate) begin(token, name string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	oldest, at := [sha256.Size]byte{}, time.Time{}
	for k, s := range g.sessions {
		if !s.until.After(g.now()) {
			delete(g.sessions, k)
		} else if at.IsZero() || s.until.Before(at) {
			oldest, at = k, s.until
		}
	}
	if len(g.sessions) >= maxSessions {
		delete(g.sessions, oldest)
	}
	g.sessions[sha256.Sum256([]byte(token))] = session{name, g.now().Add(sessionFor)}
}

func (g *gate) end(token string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.sessions, sha256.Sum256([]byte(token)))
}

// who returns the person of a session that has not ended. It compares hashes, so the
// time taken reveals nothing about the token.
func (g *gate) who(token string) (Person, bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	key := sha256.Sum256([]byte(token))
	s, ok := g.sessions[key]
	if !ok || !s.until.After(g.now()) {
		return Person{}, false
	}
	p, known := g.people[s.name]
	return p, known
}
