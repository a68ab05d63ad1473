package web_test

import (
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bayward/agent/web"
)

// visitor is one connection, as a door sees it.
type visitor struct {
	net.Conn
	from       netip.Addr
	cut        bool
	busy, idle func()
}

func (v *visitor) RemoteAddr() net.Addr {
	return net.TCPAddrFromAddrPort(netip.AddrPortFrom(v.from, 40000))
}

func (v *visitor) Close() error {
	v.cut = true
	return nil
}

// entrance is a door with those who came, and a clock that only the test moves.
type entrance struct {
	*web.Door
	all []*visitor
	now time.Time
}

func newEntrance(proxies ...netip.Prefix) *entrance {
	e := &entrance{now: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
	e.Door = web.NewDoor(web.DoorOptions{Proxies: proxies, Now: func() time.Time { return e.now }})
	return e
}

// come brings a visitor, and reports whether the door admits it.
func (e *entrance) come(from netip.Addr) (v *visitor, ok bool) {
	v = &visitor{from: from}
	admitted, busy, idle := e.Admit(v)
	if admitted == nil {
		return v, false
	}
	v.busy, v.idle = busy, idle
	e.all = append(e.all, v)
	return v, true
}

func (e *entrance) open(from ...netip.Addr) (n int) {
	for _, v := range e.all {
		if !v.cut && (len(from) == 0 || v.from == from[0]) {
			n++
		}
	}
	return n
}

// outside is the nth of many addresses: from RFC 6890's space for benchmarks, which
// counts as outside.
func outside(n int) netip.Addr {
	return netip.AddrFrom4([4]byte{198, 18 + byte(n>>16)&1, byte(n >> 8), byte(n)})
}

var phone = netip.MustParseAddr("192.168.1.20")

// TestFloodFromOneAddressDisplacesItself: others do not even notice.
func TestFloodFromOneAddressDisplacesItself(t *testing.T) {
	e := newEntrance()
	mine, ok := e.come(outside(7))
	require.True(t, ok)
	for range 4_000 {
		_, ok = e.come(outside(1))
		require.True(t, ok)
	}
	require.Equal(t, web.MaxConnsEach, e.open(outside(1)))
	require.False(t, mine.cut)
	require.Equal(t, web.MaxConnsEach+1, e.open())
}

// TestFloodFromManyAddresses: a yard's phone gets a seat and keeps it, all the more
// when it has signed in, and the number of connections is bounded.
func TestFloodFromManyAddresses(t *testing.T) {
	e := newEntrance()
	for n := range 4_000 {
		_, ok := e.come(outside(n))
		require.True(t, ok, "a newcomer gets the seat of the oldest")
	}
	require.Equal(t, 160, e.open())
	first, ok := e.come(phone)
	require.True(t, ok)
	for n := range 4_000 {
		e.come(outside(n))
	}
	require.False(t, first.cut)
	require.Equal(t, 161, e.open())
}

// TestFloodFromInside: machines of the local network cannot displace a person who is
// signed in, for a shift.
func TestFloodFromInside(t *testing.T) {
	e := newEntrance()
	inside := func(n int) netip.Addr { return netip.AddrFrom4([4]byte{10, 0, byte(n >> 8), byte(n)}) }
	e.Know(phone)
	mine, ok := e.come(phone)
	require.True(t, ok)
	for n := range 4_000 {
		e.come(inside(n))
	}
	require.False(t, mine.cut)
	require.Equal(t, 209, e.open())
	for _, v := range e.all {
		if !v.cut {
			v.busy()
		}
	}
	_, ok = e.come(inside(1))
	require.False(t, ok, "no seat, and nobody idle to give one")
	v, ok := e.come(phone)
	require.True(t, ok, "a seat is kept")
	v.busy()
	e.now = e.now.Add(12 * time.Hour)
	_, ok = e.come(phone)
	require.False(t, ok, "the shift is over")
}

// TestARequestIsNotCut: an idle connection gives its seat first, however young.
func TestARequestIsNotCut(t *testing.T) {
	e := newEntrance()
	mine, _ := e.come(outside(1))
	mine.busy()
	for range 100 {
		_, ok := e.come(outside(1))
		require.True(t, ok)
	}
	require.False(t, mine.cut)
	mine.idle()
	for range web.MaxConnsEach {
		e.come(outside(1))
	}
	require.True(t, mine.cut)
}

// TestProxyHasManySeats: behind it are many people. Anybody else has few, IPv6
// addresses of one network together.
func TestProxyHasManySeats(t *testing.T) {
	e := newEntrance(netip.MustParsePrefix("203.0.113.7/32"))
	proxy := netip.MustParseAddr("203.0.113.7")
	for range 300 {
		e.come(proxy)
		e.come(netip.MustParseAddr(fmt.Sprintf("2001:db8::%x", len(e.all))))
	}
	require.Equal(t, 128, e.open(proxy))
	require.Equal(t, 128+web.MaxConnsEach, e.open())
}

// TestSeatsAreGivenBack: also those of connections that were cut, once.
func TestSeatsAreGivenBack(t *testing.T) {
	e := newEntrance()
	for range 3 {
		var conns []net.Conn
		for n := range 400 {
			if c, _, _ := e.Admit(&visitor{from: outside(n)}); c != nil {
				conns = append(conns, c)
			}
		}
		for _, c := range conns {
			require.NoError(t, c.Close())
			require.NoError(t, c.Close())
		}
	}
	for n := range 160 {
		_, ok := e.come(outside(n))
		require.True(t, ok)
	}
	require.Equal(t, 160, e.open())
}

// TestDoorsBounds: whatever comes and goes, no bound is passed, and who is refused
// found only callers of its own rank or below with requests in progress.
func TestDoorsBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := newEntrance()
		e.Know(phone)
		outsideIs := func(v *visitor) bool { return v.from.As4()[0] == 198 }
		for range rapid.IntRange(250, 400).Draw(t, "callers") {
			from := outside(rapid.IntRange(0, 30).Draw(t, "address"))
			switch rapid.IntRange(0, 5).Draw(t, "kind") {
			case 0:
				from = phone
			case 1, 2:
				from = netip.AddrFrom4([4]byte{10, 0, 0, byte(rapid.IntRange(0, 15).Draw(t, "inside"))})
			}
			v, ok := e.come(from)
			if ok && rapid.Bool().Draw(t, "busy") {
				v.busy()
			}
			e.all = slices.DeleteFunc(e.all, func(v *visitor) bool { return v.cut })
			all, far, strange := 0, 0, 0
			for _, v := range e.all {
				if all++; outsideIs(v) {
					far++
				}
				if v.from != phone {
					strange++
				}
			}
			require.True(t, all <= web.MaxConns && strange <= 208 && far <= 160 && e.open(from) <= web.MaxConnsEach, "%d %d %d", all, strange, far)
			require.True(t, ok || from != phone || e.open(phone) == web.MaxConnsEach, "somebody known was refused")
		}
	})
}

// TestPageDuringAFlood: real connections over loopback, with and without TLS. A
// request goes on while its own address floods, and another address is served.
func TestPageDuringAFlood(t *testing.T) {
	for _, secure := range []bool{false, true} {
		wait := make(chan struct{})
		srv := httptest.NewUnstartedServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
			if r.URL.Path == "/slow" {
				wait <- struct{}{}
				<-wait
			}
		}))
		srv.Config.ErrorLog = log.New(io.Discard, "", 0)
		door := web.NewDoor(web.DoorOptions{})
		srv.Listener = door.Guard(srv.Listener, srv.Config)
		if secure {
			srv.StartTLS()
		} else {
			srv.Start()
		}
		slow := make(chan error, 1)
		go func() { slow <- get(t.Context(), srv.URL+"/slow", "127.0.0.1") }()
		<-wait
		for range 300 {
			c, err := (&net.Dialer{}).DialContext(t.Context(), "tcp", srv.Listener.Addr().String())
			require.NoError(t, err)
			t.Cleanup(func() { _ = c.Close() })
		}
		require.NoError(t, get(t.Context(), srv.URL, "127.0.0.2"))
		// 24 seats are one address's: all but the last connections lost theirs. The
		// listener may have some of them still before it.
		require.Eventually(t, func() bool { return door.Cut() >= 300-24 }, 10*time.Second, time.Millisecond)
		wait <- struct{}{}
		require.NoError(t, <-slow)
		srv.Close()
	}
}

// get fetches a page from one of the loopback addresses.
func get(ctx context.Context, url, from string) error {
	dial := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(from)}}
	client := &http.Client{Transport: &http.Transport{
		DialContext: dial.DialContext, DisableKeepAlives: true, TLSClientConfig: &tls.Config{InsecureSkipVerify: true},
	}}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return err
	}
	answer, err := client.Do(req)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	_, err = io.Copy(io.Discard, answer.Body)
	return err
}
