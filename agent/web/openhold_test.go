package web_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/order"
	"bayward/agent/web"
)

// holdFrom sends the form for a hold without a sign-in.
func (y *yard) holdFrom(addr string, values url.Values, forwarded ...string) *httptest.ResponseRecorder {
	req := httptest.NewRequest(http.MethodPost, "/hold", strings.NewReader(values.Encode()))
	req.RemoteAddr = netip.AddrPortFrom(netip.MustParseAddr(addr), 40000).String()
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Sec-Fetch-Site", "same-origin")
	for _, f := range forwarded {
		req.Header.Add("X-Forwarded-For", f)
	}
	w := httptest.NewRecorder()
	y.handler.ServeHTTP(w, req)
	return w
}

func (y *yard) getFrom(addr, path string) *httptest.ResponseRecorder {
	req := httptest.NewRequest(http.MethodGet, path, nil)
	req.RemoteAddr = netip.AddrPortFrom(netip.MustParseAddr(addr), 40000).String()
	w := httptest.NewRecorder()
	y.handler.ServeHTTP(w, req)
	return w
}

func holding(by string) url.Values { return url.Values{"bay": {"bay-1"}, "by": {by}} }

// TestHoldWhileSignInIsFlooded: wrong PINs from everywhere, the yard's own phone
// among them, keep nobody in the yard from holding a bay.
func TestHoldWhileSignInIsFlooded(t *testing.T) {
	y := newYard(t)
	for _, name := range []string{"Looker", "Visitor", "Boss"} {
		y.guess(yardPhone, name, "")
	}
	for n := range 20 {
		y.guess(outside(n).String(), "Boss", "")
	}
	require.Equal(t, 429, y.tryFrom("192.168.1.99", "Boss", pin, "").Code)
	require.Contains(t, text(t, y.getFrom(yardPhone, "/sign-in")), `href="/hold"`)
	page := text(t, y.getFrom(yardPhone, "/hold"))
	require.Contains(t, page, "<option>bay-1</option>")
	values := holding("A. Person")
	values.Set("reason", "smells of acid")
	values.Set("id", hidden(t, page, "id"))
	for range 2 { // pressed twice
		w := y.holdFrom(yardPhone, values)
		require.Equal(t, 303, w.Code)
		require.Equal(t, "/hold?bay=bay-1", w.Header().Get("Location"))
	}
	p := y.picture("bay-1")
	require.Len(t, p.Holds, 1)
	require.Equal(t, "A. Person (not proven)", p.Holds[0].By)
	require.Equal(t, "smells of acid", p.Holds[0].Reason)
	page = text(t, y.getFrom(yardPhone, "/hold?bay=bay-1"))
	require.Contains(t, page, "bay-1 is on hold: charging is blocked.")
	require.Contains(t, page, "smells of acid")
}

// TestOpenHoldOnlyHolds: nothing else is taken without a sign-in, and nobody takes
// such a hold for the own one.
func TestOpenHoldOnlyHolds(t *testing.T) {
	y := newYard(t)
	values := holding("Boss")
	values.Set("action", "release")
	require.Equal(t, 303, y.holdFrom(yardPhone, values).Code)
	require.Contains(t, y.picture("bay-1").Codes(), "held")
	require.Equal(t, 401, y.form("/bays/bay-1/hold", "action=unhold&by=Boss").Code)
	_, visitor, _ := y.signIn("Visitor", pin, "/")
	require.Equal(t, 403, y.do(y.as(visitor, "POST", "/bays/bay-1/hold", "action=lock-remove&lock=hold&of=Boss+(not+proven)&reason=gone&ok-nobody=yes")).Code)
	_, boss, _ := y.signIn("Boss", pin, "/")
	require.Equal(t, 409, y.do(y.as(boss, "POST", "/bays/bay-1/hold", "action=unhold")).Code, "it is not the Boss's own")
	require.Contains(t, y.picture("bay-1").Codes(), "held")
	require.Equal(t, 303, y.do(y.as(boss, "POST", "/bays/bay-1/hold", "action=lock-remove&lock=hold&of=Boss+(not+proven)&reason=gone&ok-nobody=yes")).Code)
	require.NotContains(t, y.picture("bay-1").Codes(), "held")
}

// TestOpenHoldIsForTheYard: the world cannot stop a yard, nor can it through a proxy.
func TestOpenHoldIsForTheYard(t *testing.T) {
	y := newYard(t)
	o := y.Options
	o.Proxies = []netip.Prefix{netip.MustParsePrefix("10.1.2.3/32")}
	y.handler = web.New(o)
	require.NotContains(t, text(t, y.getFrom(stranger, "/sign-in")), `href="/hold"`)
	require.Equal(t, 403, y.getFrom(stranger, "/hold").Code)
	for _, w := range []*httptest.ResponseRecorder{
		y.holdFrom(stranger, holding("A")), y.holdFrom("10.1.2.3", holding("A"), stranger), y.holdFrom("10.1.2.3", holding("A"), "unknown"),
	} {
		require.Equal(t, 403, w.Code)
		require.Contains(t, text(t, w), "only from the local network")
	}
	require.NotContains(t, y.picture("bay-1").Codes(), "held")
	require.Equal(t, 303, y.holdFrom("10.1.2.3", holding("A"), yardPhone).Code)
	require.Contains(t, y.picture("bay-1").Codes(), "held")
	require.Equal(t, 303, newBench(nil, "bay-1").get("/hold").Code, "where nobody signs in, each bay's page has it")
}

// TestOpenHoldsAreBounded: each is written to the record.
func TestOpenHoldsAreBounded(t *testing.T) {
	y := newYard(t)
	taken := 0
	for n := range 100 {
		w := y.holdFrom(yardPhone, holding(fmt.Sprint("Person ", n)))
		if w.Code == 303 {
			taken++
			continue
		}
		require.Equal(t, 429, w.Code)
		require.Contains(t, text(t, w), "yours was not taken")
	}
	require.Equal(t, 6, taken)
	y.later(10 * time.Second)
	require.Equal(t, 303, y.holdFrom(yardPhone, holding("Late")).Code)
	_, looker, _ := y.signIn("Looker", pin, "/")
	require.Equal(t, 303, y.do(y.as(looker, "POST", "/bays/bay-1/hold", "action=hold")).Code, "who signs in is not bounded by it")
}

// TestOpenHoldNamesItsFaults: at the boxes, and nothing is taken.
func TestOpenHoldNamesItsFaults(t *testing.T) {
	y := newYard(t)
	for _, row := range []struct {
		values url.Values
		want   string
	}{
		{url.Values{"by": {"A"}}, "Choose the bay."},
		{url.Values{"bay": {"bay-9"}, "by": {"A"}}, "Choose the bay."},
		{url.Values{"bay": {"bay-1"}}, `id="open-by-fault"`},
		{url.Values{"bay": {"bay-1"}, "by": {strings.Repeat("x", order.MaxNameRunes)}}, `id="open-by-fault"`},
		{url.Values{"bay": {"bay-1"}, "by": {"A\x00"}}, `id="open-by-fault"`},
	} {
		w := y.holdFrom(yardPhone, row.values)
		require.Equal(t, 400, w.Code)
		require.Contains(t, text(t, w), row.want)
	}
	require.Empty(t, y.picture("bay-1").Holds)
}
