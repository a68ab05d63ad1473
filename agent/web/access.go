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

// pinCost makes one guess take a good part of a second on a small computer.
const pinCost = 11

// Bounds of a PIN or passphrase, in bytes; bcrypt reads no more than the upper.
const (
	MinPINBytes = 6
	MaxPINBytes = 72
)

// ErrPIN says that a PIN cannot be used.
var ErrPIN = fmt.Errorf("a PIN or passphrase has %d to %d bytes", MinPINBytes, MaxPINBytes)

// HashPIN makes the hash that the configuration holds. The error is ErrPIN for
// one that is too short or too long.
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

// errors of a sign-in.
var errWrongPIN = errors.New("name or PIN is wrong")

// tooManyError tells how long nobody may try.
type tooManyError struct{ wait time.Duration }

// Error is for the log.
func (e tooManyError) Error() string { return "too many wrong PINs; wait " + e.wait.String() }

const (
	freeTries = 5 // wrong PINs before the waiting begins
	firstWait = 10 * time.Second
	mostWait  = 15 * time.Minute
	// sessionFor covers a shift.
	sessionFor  = 12 * time.Hour
	maxSessions = 256
	maxGuarded  = 256 // names and addresses whose tries are counted
)

// gate knows the people and who is signed in. Sessions live in memory: after a
// restart people sign in again, and their visits are still open.
type gate struct {
	people map[string]Person
	now    func() time.Time
	dummy  string        // hash that is compared for names that do not exist
	slots  chan struct{} // bounds hashing, which is slow on purpose

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
	until time.Time // nobody may try before
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
		panic("bug: " + err.Error()) // the cost is one of a hash that bcrypt reads
	}
	g.dummy = string(dummy)
	return g
}

// enter checks a name and a PIN. One PIN is hashed at a time, so that guessing
// cannot take the processor from the ticks; a try that waits longer than its
// caller is dropped. Wrong tries make the name and the address wait ever
// longer, whoever is right afterwards.
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
	if wait := g.mustWait(keys); wait > 0 { // those before it in the queue were wrong
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

// wrong doubles the wait with each try beyond the free ones.
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

// makeRoom forgets who waits least, so that made-up names cannot fill the
// memory.
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

// begin opens a session for a token that is known to the browser alone.
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

// who is the person of a session, if it still runs. What is compared is a
// hash, so the time that it takes tells nothing of the token.
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
