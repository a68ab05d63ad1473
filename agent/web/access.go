package web

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
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

// tooManyError gives the time for which no try is accepted.
type tooManyError struct{ wait time.Duration }

// Error returns the text for the log.
func (e tooManyError) Error() string { return "too many wrong PINs; wait " + e.wait.String() }

const (
	freeTries = 5 // wrong PINs before the waits begin
	firstWait = 10 * time.Second
	mostWait  = 15 * time.Minute
	// sessionFor is long enough for a shift.
	sessionFor  = 12 * time.Hour
	maxSessions = 256
	maxGuarded  = 256 // names and addresses with counted tries
)

// gate holds the people and their sessions. Sessions are kept in memory: after a
// restart people sign in again, and their visits are still open.
type gate struct {
	people map[string]Person
	now    func() time.Time
	dummy  string        // compared for names that do not exist
	slots  chan struct{} // bounds hashing, which is slow by design

	mu       sync.Mutex // guards what follows
	sessions map[[sha256.Size]byte]session
	tries    map[string]*tries // by name and by address
}

type session struct {
	name  string
	until time.Time
}

// tries counts wrong PINs in a row.
type tries struct {
	wrong int
	until time.Time // no try is accepted before
}

func newGate(people []Person, now func() time.Time) *gate {
	g := &gate{
		people: map[string]Person{}, now: now, slots: make(chan struct{}, 1),
		sessions: map[[sha256.Size]byte]session{}, tries: map[string]*tries{},
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

// enter checks a name and a PIN. It hashes one PIN at a time, so guessing cannot
// take the processor from the ticks, and drops a try that waits longer than its
// caller. Each wrong try lengthens the wait of the name and of the address, for a
// right PIN as well.
func (g *gate) enter(ctx context.Context, name, pin, address string) (Person, error) {
	keys := []string{"name " + name, "address " + address}
	if wait := g.mustWait(keys); wait > 0 {
		return Person{}, tooManyError{wait}
	}
	select {
	case g.slots <- struct{}{}:
		defer func() { <-g.slots }()
	case <-ctx.Done():
		return Person{}, ctx.Err()
	}
	if wait := g.mustWait(keys); wait > 0 { // tries earlier in the queue may have been wrong
		return Person{}, tooManyError{wait}
	}
	person, known := g.people[name]
	hash := person.Hash
	if !known {
		hash = g.dummy
	}
	right := bcrypt.CompareHashAndPassword([]byte(hash), []byte(pin)) == nil
	if !known || !right {
		g.wrong(keys)
		return Person{}, errWrongPIN
	}
	g.mu.Lock()
	delete(g.tries, keys[0])
	g.mu.Unlock()
	return person, nil
}

func (g *gate) mustWait(keys []string) time.Duration {
	g.mu.Lock()
	defer g.mu.Unlock()
	longest := time.Duration(0)
	for _, k := range keys {
		if t := g.tries[k]; t != nil {
			longest = max(longest, t.until.Sub(g.now()))
		}
	}
	return longest
}

// wrong doubles the wait with each wrong try after the free ones.
func (g *gate) wrong(keys []string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, k := range keys {
		t := g.tries[k]
		if t == nil {
			g.makeRoom()
			t = &tries{}
			g.tries[k] = t
		}
		t.wrong++
		if over := t.wrong - freeTries; over >= 0 {
			t.until = g.now().Add(min(firstWait<<min(over, 10), mostWait))
		}
	}
}

// makeRoom forgets the entry with the shortest wait, so made-up names cannot fill
// the memory.
func (g *gate) makeRoom() {
	if len(g.tries) < maxGuarded {
		return
	}
	least := ""
	for k, t := range g.tries {
		if least == "" || t.until.Before(g.tries[least].until) {
			least = k
		}
	}
	delete(g.tries, least)
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
