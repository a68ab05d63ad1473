package web_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/web"
)

// tryFrom sends a sign-in from an address, with the browser's cookies and headers of
// proxies, and returns the answer.
func (y *yard) tryFrom(addr, name, pin, cookie string, forwarded ...string) *httptest.ResponseRecorder {
	req := httptest.NewRequest(http.MethodPost, "/sign-in", strings.NewReader(url.Values{"name": {name}, "pin": {pin}}.Encode()))
	req.RemoteAddr = netip.AddrPortFrom(netip.MustParseAddr(addr), 40000).String()
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Sec-Fetch-Site", "same-origin")
	req.Header.Set("Cookie", cookie)
	for _, f := range forwarded {
		req.Header.Add("X-Forwarded-For", f)
	}
	w := httptest.NewRecorder()
	y.handler.ServeHTTP(w, req)
	return w
}

// guess tries wrong PINs until the wait begins, and returns how many were looked at.
func (y *yard) guess(addr, name, cookie string, forwarded ...string) (looked int) {
	for y.tryFrom(addr, name, "guess", cookie, forwarded...).Code == 401 {
		looked++
	}
	return looked
}

const stranger, yardPhone = "203.0.113.9", "192.168.1.20"

// badge returns the cookie by which a browser is known.
func badge(t *testing.T, w *httptest.ResponseRecorder) string {
	t.Helper()
	require.Equal(t, 303, w.Code)
	for _, c := range w.Result().Cookies() {
		if strings.HasPrefix(c.Name, "bayward-badge-") {
			require.True(t, c.HttpOnly)
			return c.Name + "=" + c.Value
		}
	}
	return ""
}

// TestLockedElsewhere: who guesses locks only the own address.
func TestLockedElsewhere(t *testing.T) {
	y := newYard(t)
	require.Equal(t, 5, y.guess(stranger, "Boss", ""))
	require.Equal(t, 429, y.tryFrom(stranger, "Boss", pin, "").Code)
	require.Equal(t, 303, y.tryFrom(yardPhone, "Boss", pin, "").Code)
}

// TestSprayedNames: one address cannot try everybody, and known people there do not
// suffer for it.
func TestSprayedNames(t *testing.T) {
	y := newYard(t)
	require.Equal(t, 303, y.tryFrom(stranger, "Visitor", pin, "").Code)
	looked := 0
	for n := range 10 {
		looked += y.guess(stranger, fmt.Sprint("Somebody ", n), "")
	}
	require.Equal(t, 30, looked)
	require.Equal(t, 429, y.tryFrom(stranger, "Boss", pin, "").Code)
	require.Equal(t, 303, y.tryFrom(stranger, "Visitor", pin, "").Code, "signed in from there before")
}

// TestManyAddressesGuessAtOne: a person who signed in before gets in from the same
// browser anywhere, and from the same address with any browser. A strange browser has
// to wait.
func TestManyAddressesGuessAtOne(t *testing.T) {
	y := newYard(t)
	mine := badge(t, y.tryFrom(yardPhone, "Boss", pin, ""))
	require.NotEmpty(t, mine)
	require.Empty(t, badge(t, y.tryFrom(yardPhone, "Boss", pin, mine)), "it has one")
	looked := 0
	for n := range 25 {
		looked += y.guess(outside(n).String(), "Boss", "")
	}
	require.Equal(t, 100, looked, "NIST SP 800-63B: at most 100")
	require.Equal(t, 429, y.tryFrom("192.168.1.30", "Boss", pin, "").Code)
	require.Equal(t, 303, y.tryFrom("192.168.1.30", "Boss", pin, mine).Code)
	require.Equal(t, 303, y.tryFrom(yardPhone, "Boss", pin, "").Code)
	require.Equal(t, 303, y.tryFrom("192.168.1.30", "Visitor", pin, "").Code)
}

// TestBadgeIsNoKey: it opens nothing, is good for one person, and whoever stole one
// has as few tries as anybody.
func TestBadgeIsNoKey(t *testing.T) {
	y := newYard(t)
	mine := badge(t, y.tryFrom(yardPhone, "Boss", pin, ""))
	require.Equal(t, 303, y.do(y.as(mine, "GET", "/", "")).Code)
	require.Equal(t, 5, y.guess(stranger, "Boss", mine))
	require.Equal(t, 429, y.tryFrom(yardPhone, "Boss", pin, mine).Code, "of the stolen badge")
	require.Equal(t, 303, y.tryFrom(yardPhone, "Boss", pin, "").Code)

	name, value, _ := strings.Cut(mine, "=")
	_, seal, _ := strings.Cut(value, ".")
	for n := range 10 { // made up, each for tries of its own
		y.tryFrom(stranger, "Boss", "guess", fmt.Sprintf("%s=ID%d.%s", name, n, seal))
	}
	require.Equal(t, 429, y.tryFrom(stranger, "Boss", pin, "").Code)
}

// TestPeopleBehindAProxy: X-Forwarded-For is read only from a trusted proxy, and only
// its nearest hop that is none.
func TestPeopleBehindAProxy(t *testing.T) {
	const proxy, inner = "10.1.2.3", "10.1.2.4"
	y := newYard(t)
	y.handler = web.New(func() web.Options {
		o := y.Options
		o.Proxies = []netip.Prefix{netip.MustParsePrefix("10.1.2.0/24")}
		return o
	}())
	require.Equal(t, 5, y.guess(proxy, "Boss", "", stranger))
	for _, row := range []struct {
		from string
		hops []string
		code int
	}{
		{proxy, []string{stranger}, 429},
		{proxy, []string{yardPhone}, 303},
		{proxy, []string{yardPhone + ", " + stranger}, 429}, // what it says of itself
		{proxy, []string{yardPhone, stranger}, 429},
		{proxy, []string{stranger + ", " + inner}, 429},
		{proxy, []string{stranger + ":1234 , " + inner}, 429},
		{proxy, []string{"::ffff:" + stranger}, 429},
		{proxy, []string{"[2001:db8::1]:99"}, 303},
		{proxy, []string{stranger + ", unknown"}, 303}, // counts as the proxy itself
		{"198.18.0.7", []string{stranger}, 303},        // not from a proxy: not believed
	} {
		require.Equal(t, row.code, y.tryFrom(row.from, "Boss", pin, "", row.hops...).Code, "%s %v", row.from, row.hops)
	}
	require.Equal(t, 5, y.guess("198.18.0.1", "Visitor", "", yardPhone))
	require.Equal(t, 429, y.tryFrom("198.18.0.1", "Visitor", pin, "", "192.168.1.77").Code, "a made-up hop changes nothing")
}
