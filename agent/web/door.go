package web

import (
	"cmp"
	"context"
	"crypto/tls"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// Bounds on connections. Each costs about 16 kB, with TLS several times that: all of
// them together stay far below the memory that a service manager allows the agent.
const (
	MaxConns        = 256 // in all
	maxUnknownConns = 208 // of callers that have not signed in
	maxForeignConns = 160 // of those, from outside the local networks
	MaxConnsEach    = 24  // of one address; a browser opens six
	maxConnsProxy   = 128 // of one trusted proxy
	maxStreams      = 16  // requests at a time on one connection with HTTP/2
	maxKnown        = 256 // addresses that are remembered
	complainEvery   = time.Minute
)

// rank orders callers by how much a door keeps free for them.
type rank uint8

const (
	foreign rank = iota
	local        // loopback, private and link-local addresses
	known        // signed in during the last shift, or a trusted proxy
	numRanks
)

// mostOf returns how many connections callers of that rank and below may have.
var mostOf = [numRanks]int{foreign: maxForeignConns, local: maxUnknownConns, known: MaxConns}

// DoorOptions configure a Door.
type DoorOptions struct {
	Proxies []netip.Prefix   // trusted to name the caller in X-Forwarded-For
	Now     func() time.Time // nil is time.Now
	Log     *slog.Logger     // nil: nothing is logged
}

// Door bounds the connections of a listener, so that no flood takes the agent's
// memory. A flood from one address only displaces itself. When all seats are taken, a
// newcomer gets that of the idle connection that is worth least: from outside before
// local before known, of the address with most connections, the oldest.
type Door struct {
	opt DoorOptions

	mu     sync.Mutex // guards what follows
	seats  []*seat
	have   [numRanks]int            // seats taken by callers of each rank
	count  uint64                   // of changes, to know the oldest
	known  map[netip.Addr]time.Time // until when an address is known
	cut    int                      // connections that were cut or refused since the last complaint
	total  atomic.Uint64            // and since the start
	quiet  time.Time                // no complaint before
	groups map[netip.Addr]int       // connections of each address
}

// NewDoor returns a door.
func NewDoor(o DoorOptions) *Door {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return &Door{opt: o, known: map[netip.Addr]time.Time{}, groups: map[netip.Addr]int{}}
}

// seat is one admitted connection.
type seat struct {
	net.Conn
	door *Door
	from netip.Addr // the whole address
	of   netip.Addr // what counts as one address

	// door.mu guards what follows.
	rank    rank
	place   int    // in door.seats, or away
	serving int    // requests in progress
	last    uint64 // when it came, or last began or ended a request
}

// away is the place of a connection that has no seat.
const away = -1

// seatKey is the context key for the connection of a request.
type seatKey struct{}

// Guard puts the door before a server: it returns the listener to serve on.
func (d *Door) Guard(l net.Listener, srv *http.Server) net.Listener {
	srv.HTTP2 = &http.HTTP2Config{MaxConcurrentStreams: maxStreams}
	srv.ConnContext = func(ctx context.Context, c net.Conn) context.Context {
		if over, ok := c.(*tls.Conn); ok {
			c = over.NetConn()
		}
		return context.WithValue(ctx, seatKey{}, c)
	}
	next := srv.Handler
	srv.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if s, ok := r.Context().Value(seatKey{}).(*seat); ok {
			d.serve(s, +1)
			defer d.serve(s, -1)
		}
		next.ServeHTTP(w, r)
	})
	return doorListener{l, d}
}

func (d *Door) serve(s *seat, by int) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.count++
	s.serving, s.last = s.serving+by, d.count
}

type doorListener struct {
	net.Listener
	door *Door
}

// Accept returns the next connection that is admitted.
func (l doorListener) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if s := l.door.admit(c); s != nil {
			return s, nil
		}
		hangUp(c)
	}
}

// hangUp leaves nothing behind in the kernel either.
func hangUp(c net.Conn) {
	if t, ok := c.(*net.TCPConn); ok {
		_ = t.SetLinger(0) // else it lingers a while
	}
	_ = c.Close() // nothing was promised to it
}

// Close gives the seat back.
func (s *seat) Close() error {
	s.door.mu.Lock()
	s.door.leave(s)
	s.door.mu.Unlock()
	return s.Conn.Close()
}

// leave is also called for a connection that has left. The caller holds mu.
func (d *Door) leave(s *seat) {
	if s.place == away {
		return
	}
	end := len(d.seats) - 1
	d.seats[s.place], d.seats[end].place = d.seats[end], s.place
	d.seats, s.place = slices.Delete(d.seats, end, end+1), away
	d.have[s.rank]--
	if d.groups[s.of]--; d.groups[s.of] <= 0 {
		delete(d.groups, s.of)
	}
}

// admit returns nil if there is no seat.
func (d *Door) admit(c net.Conn) *seat {
	from := peer(c.RemoteAddr().String())
	s := &seat{Conn: c, door: d, from: from, of: oneAddress(from), place: away}
	out, ok := d.take(s)
	if out != nil {
		hangUp(out.Conn)
	}
	if !ok {
		return nil
	}
	return s
}

// take gives a newcomer a seat, if need be that of another, which it returns.
func (d *Door) take(s *seat) (out *seat, ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	s.rank = d.rankOf(s.from)
	if d.groups[s.of] >= d.mostFrom(s.from) {
		out = d.worst(func(x *seat) bool { return x.of == s.of })
	} else if d.full(s.rank) {
		out = d.worst(func(x *seat) bool { return x.rank <= s.rank })
	} else {
		ok = true
	}
	if !ok {
		d.complain()
		if out == nil {
			return nil, false
		}
		d.leave(out)
	}
	d.count++
	s.last = d.count
	s.place = len(d.seats)
	d.seats = append(d.seats, s)
	d.have[s.rank]++
	d.groups[s.of]++
	return out, true
}

func (d *Door) mostFrom(a netip.Addr) int {
	if among(a, d.opt.Proxies) {
		return maxConnsProxy
	}
	return MaxConnsEach
}

// full reports whether a newcomer of a rank finds no free seat.
func (d *Door) full(r rank) bool {
	sum := 0
	for q := range numRanks {
		if sum += d.have[q]; q >= r && sum >= mostOf[q] {
			return true
		}
	}
	return false
}

// worst returns the idle connection that is worth least among some, nil if all of
// them have a request in progress.
func (d *Door) worst(among func(*seat) bool) (worst *seat) {
	for _, s := range d.seats {
		if s.serving == 0 && among(s) && (worst == nil || d.compare(s, worst) < 0) {
			worst = s
		}
	}
	return worst
}

func (d *Door) compare(a, b *seat) int {
	return cmp.Or(cmp.Compare(a.rank, b.rank), cmp.Compare(d.groups[b.of], d.groups[a.of]), cmp.Compare(a.last, b.last))
}

func (d *Door) rankOf(a netip.Addr) rank {
	switch {
	case among(a, d.opt.Proxies) || d.known[a].After(d.opt.Now()):
		return known
	case isLocal(a):
		return local
	}
	return foreign
}

// Know keeps seats free for the address of a person who is signed in.
func (d *Door) Know(a netip.Addr) {
	if d == nil || !a.IsValid() {
		return
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if _, is := d.known[a]; !is && len(d.known) >= maxKnown {
		oldest := netip.Addr{}
		for b, until := range d.known {
			if !oldest.IsValid() || until.Before(d.known[oldest]) {
				oldest = b
			}
		}
		delete(d.known, oldest)
	}
	d.known[a] = d.opt.Now().Add(sessionFor)
	for _, s := range d.seats {
		if s.from == a {
			d.have[s.rank]--
			s.rank = known
			d.have[s.rank]++
		}
	}
}

// Cut returns how many connections were cut or refused since the start.
func (d *Door) Cut() uint64 {
	if d == nil {
		return 0
	}
	return d.total.Load()
}

// complain logs a flood once a minute. The caller holds mu.
func (d *Door) complain() {
	d.cut++
	d.total.Add(1)
	now := d.opt.Now()
	if now.Before(d.quiet) {
		return
	}
	d.opt.Log.Warn("too many connections: the oldest idle ones are cut", "cut", d.cut, "open", len(d.seats), "addresses", len(d.groups))
	d.cut, d.quiet = 0, now.Add(complainEvery)
}

// peer returns the address in HOST:PORT or HOST, the zero value for anything else.
func peer(text string) netip.Addr {
	if host, _, err := net.SplitHostPort(text); err == nil {
		text = host
	}
	a, err := netip.ParseAddr(strings.Trim(text, "[]"))
	if err != nil {
		return netip.Addr{}
	}
	return a.Unmap().WithZone("")
}

// isLocal reports whether an address can only be near.
func isLocal(a netip.Addr) bool { return a.IsLoopback() || a.IsPrivate() || a.IsLinkLocalUnicast() }

// oneAddress returns what counts as one address: of IPv6, whoever has one has the
// whole /64, except in local networks, where a yard's phones share one.
func oneAddress(a netip.Addr) netip.Addr {
	if !a.Is6() || isLocal(a) {
		return a
	}
	p, err := a.Prefix(64)
	if err != nil {
		return a
	}
	return p.Addr()
}

func among(a netip.Addr, all []netip.Prefix) bool {
	return slices.ContainsFunc(all, func(p netip.Prefix) bool { return p.Contains(a) })
}
