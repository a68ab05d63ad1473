package web_test

import (
	"encoding/base64"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/bcrypt"

	"bayward/agent/order"
	"bayward/agent/web"
)

// yard has a person of each role and a clock that only the test moves.
type yard struct {
	*bench
	mu      sync.Mutex // guards now
	now     time.Time
	refused atomic.Int64 // sign-ins
}

const pin = "correct horse 7"

func newYard(t *testing.T) *yard {
	t.Helper()
	hash, err := bcrypt.GenerateFromPassword([]byte(pin), bcrypt.MinCost) // cheap, for tests
	require.NoError(t, err)
	y := &yard{now: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}
	y.bench = newBench(func(o *web.Options) {
		o.Writable, o.Now, o.SignInRefused = false, y.clock, func() { y.refused.Add(1) }
		o.People = []web.Person{{Name: "Looker", Right: order.MayLook, Hash: string(hash)}, {Name: "Visitor", Right: order.MayVisit, Hash: string(hash)}, {Name: "Boss", Right: order.MayRelease, Hash: string(hash)}}
	}, "bay-1")
	return y
}

func (y *yard) clock() time.Time {
	y.mu.Lock()
	defer y.mu.Unlock()
	return y.now
}

func (y *yard) later(d time.Duration) {
	y.mu.Lock()
	defer y.mu.Unlock()
	y.now = y.now.Add(d)
}

// signIn returns the status, the session's cookie and the target.
func (y *yard) signIn(name, pin, to string) (int, string, string) {
	w := y.form("/sign-in", url.Values{"name": {name}, "pin": {pin}, "to": {to}}.Encode())
	cookie := ""
	for _, c := range w.Result().Cookies() {
		if c.Name == "bayward-session" {
			cookie = c.Name + "=" + c.Value
		}
	}
	return w.Code, cookie, w.Header().Get("Location")
}

func (y *yard) as(cookie, method, path, body string) request {
	return request{method: method, path: path, body: body, header: map[string]string{
		"Cookie": cookie, "Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "same-origin",
	}}
}

// TestNobodySeesAnythingButFirstAid: without a session only first aid is served.
func TestNobodySeesAnythingButFirstAid(t *testing.T) {
	y := newYard(t)
	for _, path := range []string{"/", "/bays/bay-1", visit, "/sheet"} {
		w := y.get(path)
		require.Equal(t, 303, w.Code, path)
		require.Equal(t, "/sign-in?to="+url.QueryEscape(path), w.Header().Get("Location"))
	}
	for _, path := range []string{"/api/v1/bays", "/api/v1/bays/bay-1", "/live"} {
		require.Equal(t, 401, y.get(path).Code, path)
	}
	require.Equal(t, 401, y.form(visit, opening+"&by=Boss").Code)
	require.Equal(t, 401, y.form("/bays/bay-1/hold", "action=hold&by=Boss").Code)
	require.Equal(t, 401, y.post("/api/v1/bays/bay-1/hold", `{"action":"hold","by":"Boss"}`).Code)
	require.NotContains(t, y.picture("bay-1").Codes(), "held")
	for _, path := range []string{"/first-aid", "/healthz", "/sign-in", "/style.css", "/openapi.yaml"} {
		require.Equal(t, 200, y.get(path).Code, path)
	}
}

// TestRoles: which orders each role may give, on the page and over the interface.
// Each order is signed with the person's own name.
func TestRoles(t *testing.T) {
	y := newYard(t)
	for _, row := range []struct {
		name                 string
		hold, visit, release int // unhold is of one's own hold
	}{{"Looker", 303, 403, 403}, {"Visitor", 303, 303, 403}, {"Boss", 303, 303, 303}} {
		code, cookie, to := y.signIn(row.name, pin, "/bays/bay-1?hours=3")
		require.Equal(t, 303, code)
		require.Equal(t, "/bays/bay-1?hours=3", to)
		require.Equal(t, row.hold, y.do(y.as(cookie, "POST", "/bays/bay-1/hold", "action=hold&by=Somebody+Else")).Code)
		require.Equal(t, row.visit, y.do(y.as(cookie, "POST", "/bays/bay-1/hold", "action=unhold")).Code)
		require.Equal(t, row.release, y.do(y.as(cookie, "POST", "/bays/bay-1/hold", "action=release")).Code)
		require.Equal(t, row.release, y.do(y.as(cookie, "POST", "/bays/bay-1/hold", "action=lock-remove&lock=hold&of=Looker&reason=gone&ok-nobody=yes")).Code)
		require.Equal(t, row.visit, y.do(y.as(cookie, "POST", visit, opening+"&by=Somebody+Else")).Code, row.name)
		if row.visit == 303 {
			require.Equal(t, row.name, y.picture("bay-1").Visit.By, "nobody signs for another")
			require.Equal(t, 303, y.do(y.as(cookie, "POST", visit, closing)).Code)
		}
		page := text(t, y.do(y.as(cookie, "GET", "/bays/bay-1", "")))
		require.Equal(t, row.visit == 303, strings.Contains(page, `href="`+visit+`"`))
		require.Contains(t, page, row.name+", may ")
	}
	basic := func(name, action string) int {
		w := y.do(request{method: "POST", path: "/api/v1/bays/bay-1/visit", body: `{"action":"` + action + `"}`, header: map[string]string{
			"Content-Type": "application/json", "Authorization": "Basic " + base64.StdEncoding.EncodeToString([]byte(name+":"+pin)),
		}})
		return w.Code
	}
	require.Equal(t, 403, basic("Looker", "open"))
	require.Equal(t, 200, basic("Visitor", "open"))
	require.Equal(t, "Visitor", y.picture("bay-1").Visit.By)
	require.Equal(t, 401, basic("Nobody", "open"))
	_, cookie, _ := y.signIn("Boss", pin, "")
	w := y.do(request{method: "POST", path: "/api/v1/bays/bay-1/visit", body: `{"action":"close","by":"Visitor"}`, header: map[string]string{"Content-Type": "application/json", "Cookie": cookie}})
	refused(t, w, 403, `field by: must be left out or be the name that is signed in: "Boss"`)
}

// TestWrongPINFiftyTimes: the waits grow, and they also apply to the right PIN, but
// not to another person at the same address, who may only share a proxy with the one
// who guesses.
func TestWrongPINFiftyTimes(t *testing.T) {
	y := newYard(t)
	looked, waits := 0, 0
	for i := range 50 {
		switch code, cookie, _ := y.signIn("Boss", fmt.Sprint("guess ", i), "/"); code {
		case 401:
			looked++
			require.Empty(t, cookie)
		case 429:
			waits++
		default:
			t.Fatalf("try %d: status %d", i, code)
		}
		y.later(time.Second)
	}
	require.EqualValues(t, 50, y.refused.Load(), "sign-ins that were counted as refused")
	require.LessOrEqual(t, looked, 8, "guesses that were looked at in fifty seconds")
	code, cookie, _ := y.signIn("Boss", pin, "/")
	require.Equal(t, 429, code)
	require.Empty(t, cookie)
	code, _, _ = y.signIn("Visitor", pin, "/")
	require.Equal(t, 303, code, "others do not wait")
	w := y.form("/sign-in", "name=Boss&pin=x")
	require.NotEmpty(t, w.Header().Get("Retry-After"))
	require.Contains(t, text(t, w), "Too many wrong PINs. Wait ")
	y.later(16 * time.Minute)
	code, cookie, _ = y.signIn("Boss", pin, "/")
	require.Equal(t, 303, code)
	require.NotEmpty(t, cookie)
}

// TestUnknownNamesAreToldNothing: unknown names get the same answer as known ones.
func TestUnknownNamesAreToldNothing(t *testing.T) {
	y := newYard(t)
	known, unknown := y.form("/sign-in", "name=Boss&pin=x"), y.form("/sign-in", "name=Nobody&pin=x")
	require.Equal(t, known.Code, unknown.Code)
	require.Equal(t, strings.ReplaceAll(text(t, known), "Boss", ""), strings.ReplaceAll(text(t, unknown), "Nobody", ""))
}

// TestSessionsEnd: a session ends on signing out, and by itself after a shift.
func TestSessionsEnd(t *testing.T) {
	y := newYard(t)
	_, cookie, _ := y.signIn("Boss", pin, "/")
	require.Equal(t, 200, y.do(y.as(cookie, "GET", "/", "")).Code)
	require.Equal(t, 303, y.do(y.as(cookie, "POST", "/sign-out", "")).Code)
	require.Equal(t, 303, y.do(y.as(cookie, "GET", "/", "")).Code, "the cookie still exists, the session does not")
	_, cookie, _ = y.signIn("Boss", pin, "/")
	y.later(12*time.Hour - time.Second)
	require.Equal(t, 200, y.do(y.as(cookie, "GET", "/", "")).Code)
	y.later(time.Second)
	require.Equal(t, 303, y.do(y.as(cookie, "GET", "/", "")).Code)
	require.Equal(t, 303, y.do(y.as("bayward-session=guess", "GET", "/", "")).Code)
}

// TestCookieIsOutOfReach: scripts, other sites and plain HTTP cannot get the cookie.
func TestCookieIsOutOfReach(t *testing.T) {
	y := newYard(t)
	w := y.form("/sign-in", url.Values{"name": {"Boss"}, "pin": {pin}}.Encode())
	c := w.Result().Cookies()[0]
	require.True(t, c.HttpOnly)
	require.Equal(t, http.SameSiteStrictMode, c.SameSite)
	require.GreaterOrEqual(t, len(c.Value), 26, "128 bits and more, in base 32")
	w = y.do(request{method: "POST", path: "/sign-in", body: "name=Boss&pin=x", header: map[string]string{
		"Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "cross-site",
	}})
	require.Equal(t, 403, w.Code)
}

// TestSignInLeadsNowhereElse: a sign-in ignores a foreign address in its link.
func TestSignInLeadsNowhereElse(t *testing.T) {
	y := newYard(t)
	for _, to := range []string{"https://bad.example/", "//bad.example", `/\bad.example`, "javascript:alert(1)", "", "bays"} {
		_, _, at := y.signIn("Boss", pin, to)
		require.Equal(t, "/", at, to)
		require.Equal(t, "/", hidden(t, text(t, y.get("/sign-in?to="+url.QueryEscape(to))), "to"), to)
	}
}

// TestSettingsAreThePersonsOwn: each browser has its own language and units.
func TestSettingsAreThePersonsOwn(t *testing.T) {
	b := newBench(nil, "bay-1")
	w := b.form("/settings", "language=es&units=us&to=%2Fbays%2Fbay-1")
	require.Equal(t, "/bays/bay-1", w.Header().Get("Location"))
	var cookies []string
	for _, c := range w.Result().Cookies() {
		cookies = append(cookies, c.Name+"="+c.Value)
	}
	page := text(t, b.do(request{method: "GET", path: "/bays/bay-1", header: map[string]string{"Cookie": strings.Join(cookies, "; ")}}))
	for _, want := range []string{`<html lang="es">`, "Nivel sobre las placas", "0,24 in", "77 °F", "Primeros auxilios"} {
		require.Contains(t, page, want)
	}
	require.Contains(t, text(t, b.get("/bays/bay-1")), `<html lang="en">`)
	odd := text(t, b.do(request{method: "GET", path: "/", header: map[string]string{"Cookie": "bayward-language=xx; bayward-units=furlongs"}}))
	require.Contains(t, odd, `<html lang="en">`)
	spanish := newBench(func(o *web.Options) { o.Language = "es" }, "bay-1")
	require.Contains(t, text(t, spanish.get("/")), "Precaución")
	require.Contains(t, text(t, spanish.form(visit, "action=cell")), "No se registró.")
}

func TestHashPIN(t *testing.T) {
	hash, err := web.HashPIN(pin)
	require.NoError(t, err)
	require.NoError(t, bcrypt.CompareHashAndPassword([]byte(hash), []byte(pin)))
	for _, bad := range []string{"", "12345", strings.Repeat("x", 73)} {
		_, err := web.HashPIN(bad)
		require.ErrorIs(t, err, web.ErrPIN)
	}
}

// TestAFormOutlivesItsSession: what a person typed is not lost when the session has
// ended, after a shift or with a restart of the agent.
func TestAFormOutlivesItsSession(t *testing.T) {
	y := newYard(t)
	_, cookie, _ := y.signIn("Visitor", pin, "/")
	require.Equal(t, 303, y.do(y.as(cookie, "POST", visit, opening)).Code)
	y.later(12 * time.Hour)
	const typed = "action=cell&cell=3&given=0&how=measured&id=x1&ml=20&after=8"
	w := y.do(y.as(cookie, "POST", visit, typed))
	require.Equal(t, 401, w.Code)
	page := text(t, w)
	require.Contains(t, page, "What you typed is kept")
	require.Zero(t, y.picture("bay-1").Visit.GivenML[2])

	w = y.form("/sign-in", url.Values{"name": {"Visitor"}, "pin": {"guess 1"}, "to": {hidden(t, page, "to")}, "kept": {unescaped(hidden(t, page, "kept"))}}.Encode())
	require.Equal(t, 401, w.Code)
	page = text(t, w)
	w = y.form("/sign-in", url.Values{"name": {"Visitor"}, "pin": {pin}, "to": {hidden(t, page, "to")}, "kept": {unescaped(hidden(t, page, "kept"))}}.Encode())
	require.Equal(t, 200, w.Code)
	page = text(t, w)
	require.Contains(t, page, `<form method="post" action="`+visit+`">`)
	again := url.Values{}
	for _, name := range []string{"action", "cell", "given", "how", "id", "ml", "after"} {
		again.Set(name, hidden(t, page, name))
	}
	again.Set("sure", "yes")
	for _, c := range w.Result().Cookies() {
		if c.Name == "bayward-session" {
			cookie = c.Name + "=" + c.Value
		}
	}
	require.Equal(t, 303, y.do(y.as(cookie, "POST", visit, again.Encode())).Code)
	require.Equal(t, 20.0, y.picture("bay-1").Visit.GivenML[2])
	require.Equal(t, "Visitor", y.picture("bay-1").Visit.Cells[2].By)

	foreign := url.Values{"name": {"Visitor"}, "pin": {pin}, "to": {"https://elsewhere.example/bays/"}, "kept": {typed}}
	require.Equal(t, "/", y.form("/sign-in", foreign.Encode()).Header().Get("Location"))
}
