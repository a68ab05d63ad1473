// Package yard keeps what the other agents of a site publish about their bays, for the
// work list. Nothing that decides reads it: a neighbour that is silent, wrong or lying can
// make this list wrong, and no permit.
package yard

import (
	"cmp"
	"encoding/json"
	"net/url"
	"slices"
	"sync"
	"time"

	"bayward/agent/view"
)

const (
	// SilentAfter is how old a state may be before its bay counts as not heard: agents
	// publish one at least every 30 s, and two may be lost.
	SilentAfter = 100 * time.Second
	// deafAfter is when an agent should have got its own status back.
	deafAfter = 30 * time.Second

	// Bounds on what a broker can make this machine keep. A site has some hundred bays,
	// an agent eight.
	mostAgents, mostBays = 128, 32
	maxPayload           = 64 << 10 // bytes
)

// Clock tells the time since some moment, and the wall's with whether it was set.
type Clock struct {
	Mono func() time.Duration
	Wall func() (at time.Time, trusted bool)
}

// Reach is whether a bay of another agent can be heard now.
type Reach uint8

// The cases.
const (
	Heard    Reach = iota
	Quiet          // nothing new for SilentAfter, or it is not known how old the last state is
	Offline        // its agent, by its status
	NoBroker       // this agent has no connection, so it hears nobody
)

// Bay is a bay of another agent.
type Bay struct {
	Agent, Name string
	Page        string // address of its agent's page, without a path; "" if it publishes none
	PageProof   string // that Page is the agent's, as it published it; judged by whoever uses it
	State       view.View
	Reach       Reach
	// Age is how old the state is; AgeKnown is false for one that the broker had kept,
	// when one of the clocks was not set.
	Age      time.Duration
	AgeKnown bool
}

// Yard is the bays of a site's other agents. Its methods may be called from any goroutine
// and never wait.
type Yard struct {
	own   string
	clock Clock

	mu        sync.Mutex // guards what follows
	agents    map[string]*agent
	connected bool
	since     time.Duration // of the connection
	ownHeard  bool          // this agent's own status has come back
	ownDaily  string        // the day of this agent's last daily round, as the broker has kept it
	dropped   bool          // more agents or bays than are kept
}

type agent struct {
	status status
	bays   map[string]*heard
	daily  string // the day of the last daily round that it has sent, such as 2026-03-01
}

type status struct {
	State string `json:"state"`
	Page  string `json:"page"`
	Proof string `json:"page_proof"`
	Daily string `json:"daily_round"`
}

type heard struct {
	state view.View
	at    time.Duration // when it was made, by this machine's clock
	known bool          // at
}

// New returns an empty yard of the site of an agent.
func New(own string, clock Clock) *Yard {
	return &Yard{own: own, clock: clock, agents: map[string]*agent{}}
}

// Connected notes that the connection to the broker has come up or was lost. After a loss
// what was heard is kept, as the last that is known.
func (y *Yard) Connected(up bool) {
	y.mu.Lock()
	defer y.mu.Unlock()
	y.connected, y.since, y.ownHeard = up, y.clock.Mono(), false
}

// Status takes the status of an agent. An empty one removes the agent: its topics were
// cleared.
func (y *Yard) Status(name string, payload []byte) {
	y.mu.Lock()
	defer y.mu.Unlock()
	if name == y.own {
		y.ownHeard = true
		return
	}
	if len(payload) == 0 {
		delete(y.agents, name)
		return
	}
	var s status
	if len(payload) > maxPayload || json.Unmarshal(payload, &s) != nil {
		return
	}
	s.Page = pageOf(s.Page)
	if a := y.agentOf(name); a != nil {
		a.status = s
	}
}

// State takes the state of a bay of an agent. What cannot be read is not kept, and the
// last one grows old. An empty one removes the bay.
func (y *Yard) State(name, bay string, payload []byte, retained bool) {
	if name == y.own {
		return
	}
	h, ok := y.read(bay, payload, retained)
	y.mu.Lock()
	defer y.mu.Unlock()
	a := y.agentOf(name)
	switch {
	case a == nil:
	case len(payload) == 0:
		delete(a.bays, bay)
	case !ok:
	case a.bays[bay] == nil && len(a.bays) >= mostBays:
		y.dropped = true
	default:
		a.bays[bay] = h
	}
}

// read decodes a state, and dates it.
func (y *Yard) read(bay string, payload []byte, retained bool) (*heard, bool) {
	var body struct {
		view.View
		Time    time.Time `json:"time"`
		Trusted bool      `json:"time_trusted"`
	}
	if len(payload) > maxPayload || json.Unmarshal(payload, &body) != nil || body.Bay != bay || body.V != 1 {
		return nil, false
	}
	h := &heard{state: body.View, at: y.clock.Mono(), known: true}
	if retained {
		wall, trusted := y.clock.Wall()
		age := wall.Sub(body.Time)
		h.at, h.known = h.at-age, trusted && body.Trusted && age >= 0
	}
	return h, true
}

func (y *Yard) agentOf(name string) *agent {
	if y.agents[name] == nil {
		if len(y.agents) >= mostAgents {
			y.dropped = true
			return nil
		}
		y.agents[name] = &agent{bays: map[string]*heard{}}
	}
	return y.agents[name]
}

// pageOf returns the address of a page if it is one: http or https, a host, nothing else.
func pageOf(address string) string {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" {
		return ""
	}
	return (&url.URL{Scheme: u.Scheme, Host: u.Host}).String()
}

// Bays returns the bays of the other agents, by agent and name.
func (y *Yard) Bays() (all []Bay) {
	y.mu.Lock()
	defer y.mu.Unlock()
	now := y.clock.Mono()
	for name, a := range y.agents {
		for bay, h := range a.bays {
			all = append(all, Bay{
				Agent: name, Name: bay, Page: a.status.Page, PageProof: a.status.Proof, State: h.state,
				Age: now - h.at, AgeKnown: h.known, Reach: y.reach(a, h, now),
			})
		}
	}
	slices.SortFunc(all, func(a, b Bay) int {
		return cmp.Or(cmp.Compare(a.Agent, b.Agent), cmp.Compare(a.Name, b.Name))
	})
	return all
}

func (y *Yard) reach(a *agent, h *heard, now time.Duration) Reach {
	switch {
	case !y.connected:
		return NoBroker
	case a.status.State != "online":
		return Offline
	case !h.known || now-h.at > SilentAfter:
		return Quiet
	}
	return Heard
}

// Deaf reports whether the broker does not deliver what it has: an agent that may read
// its site gets its own status back.
func (y *Yard) Deaf() bool {
	y.mu.Lock()
	defer y.mu.Unlock()
	return y.connected && !y.ownHeard && y.clock.Mono()-y.since > deafAfter
}

// Dropped reports whether there was more than is kept.
func (y *Yard) Dropped() bool {
	y.mu.Lock()
	defer y.mu.Unlock()
	return y.dropped
}
