package broker

import (
	"log/slog"
	"net"
	"sync"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// Limits of the broker. What is over a limit is refused or dropped, and the agent
// around it is not affected.
const (
	maxClients  = 50               // connections, and sessions of clients that are away
	maxPacket   = 64 << 10         // bytes
	maxQueued   = 16 << 10         // messages that wait for one client
	maxBytes    = 8 << 20          // bytes of them
	maxFilters  = 64               // subscriptions of one client
	maxRetained = 4096             // topics
	keptAway    = time.Hour        // the session of a client that is away
	window      = 16               // messages sent to a client and not yet acknowledged
	sayFirst    = 10 * time.Second // limit for a client's first packet
	writeFor    = 10 * time.Second // limit for one write
)

// message is one publication.
type message struct {
	topic    string
	payload  []byte
	qos      byte
	retained bool
}

// hub joins the clients. One lock guards everything in it and in its sessions.
type hub struct {
	rights rights
	log    *slog.Logger

	mu       sync.Mutex
	closed   bool
	conns    map[*conn]bool
	sessions map[string]*session // by client id
	retained map[string]message  // by topic
}

func newHub(r rights, log *slog.Logger) *hub {
	return &hub{rights: r, log: log, conns: map[*conn]bool{}, sessions: map[string]*session{}, retained: map[string]message{}}
}

func (h *hub) close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	for c := range h.conns {
		c.cut()
	}
}

// enter counts a connection, and reports whether there is room for it.
func (h *hub) enter(c *conn) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed || len(h.conns) >= maxClients {
		return false
	}
	h.conns[c] = true
	return true
}

// serve speaks with one client until it goes. A bug that a strange packet finds costs
// this client its connection, and not the agent its life.
func (h *hub) serve(socket net.Conn) {
	c := newConn(h, socket)
	defer c.cut()
	if !h.enter(c) {
		return
	}
	var writing sync.WaitGroup
	writing.Go(c.write)
	func() {
		defer func() {
			if r := recover(); r != nil {
				h.log.Error("broker: bug: a client's packet broke it", "err", r)
			}
		}()
		c.read()
	}()
	h.leave(c)
	c.cut()
	writing.Wait()
}

// leave parts a connection from its session, and publishes its will unless it said
// goodbye.
func (h *hub) leave(c *conn) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.conns, c)
	h.part(c)
}

func (h *hub) part(c *conn) {
	s := c.session
	if s == nil || s.conn != c {
		return
	}
	s.conn, s.left = nil, time.Now()
	if s.clean {
		delete(h.sessions, s.id)
	}
	if w := c.will; w != nil && !h.closed {
		c.will = nil
		h.publish(*w)
	}
}

// join gives a client its session, its own from before if it wants that, and reports
// whether there was one.
func (h *hub) join(c *conn, id string, clean bool) (present, room bool) {
	h.forget()
	old := h.sessions[id]
	if old != nil && old.conn != nil { // section 3.1.4: the newer connection wins
		other := old.conn
		h.part(other)
		other.cut()
		old = h.sessions[id]
	}
	if old == nil && len(h.sessions) >= maxClients {
		return false, false
	}
	present = old != nil && !clean
	if present {
		c.session = old
		old.again()
	} else {
		c.session = newSession(id, clean)
		h.sessions[id] = c.session
	}
	c.session.conn = c
	return present, true
}

// forget drops the sessions of clients that have been away for too long.
func (h *hub) forget() {
	for id, s := range h.sessions {
		if s.conn == nil && time.Since(s.left) > keptAway {
			delete(h.sessions, id)
		}
	}
}

// publish hands a message to every session that wants it.
func (h *hub) publish(m message) {
	if m.retained {
		_, known := h.retained[m.topic]
		switch {
		case len(m.payload) == 0:
			delete(h.retained, m.topic)
		case known || len(h.retained) < maxRetained:
			h.retained[m.topic] = m
		}
	}
	m.retained = false // section 3.3.1.3: only for a new subscription
	for _, s := range h.sessions {
		if qos, wanted := s.wants(m.topic); wanted {
			h.give(s, m, qos)
		}
	}
}

// give queues a message for a session.
func (h *hub) give(s *session, m message, qos byte) {
	m.qos = min(m.qos, qos)
	if m.qos == 0 && s.conn == nil {
		return
	}
	if !s.queue(m) {
		if !s.full {
			h.log.Warn("broker: messages for a client are dropped: too many wait for it", "client_id", s.id, "waiting", len(s.waiting))
		}
		s.full = true
		return
	}
	s.full = false
	if s.conn != nil {
		s.conn.stir()
	}
}

// subscribe adds filters and returns the codes of the answer.
func (h *hub) subscribe(s *session, filters []string, qos []byte) []byte {
	codes := make([]byte, len(filters))
	for i, filter := range filters {
		_, known := s.filters[filter]
		if !validFilter(filter) || qos[i] > 2 || !known && len(s.filters) >= maxFilters {
			codes[i] = 0x80 // section 3.9.3: failure
			continue
		}
		s.filters[filter], codes[i] = qos[i], qos[i]
	}
	return codes
}

// catchUp gives a session the retained messages of a filter.
func (h *hub) catchUp(s *session, filter string, qos byte) {
	for topic, m := range h.retained {
		if matches(filter, topic) {
			h.give(s, m, qos)
		}
	}
}

// connack is the answer to a first packet.
func connack(code byte, present bool) packets.ControlPacket {
	p := packets.NewControlPacket(packets.Connack).(*packets.ConnackPacket) //nolint:errcheck,forcetypeassert // the library's own pair
	p.ReturnCode, p.SessionPresent = code, present
	return p
}
