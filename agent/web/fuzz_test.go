package web_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/bcrypt"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/order"
	"bayward/agent/web"
)

// How a request of the fuzz target is sent.
const (
	posted  = 1 << iota
	asJSON  // else as a form
	visited // a visit is open
	people  // people sign in here
	signed  // and the caller has
	spanish
	behind // a trusted proxy
)

// mouth is the handlers with real cores, which begin again with each request.
type mouth struct {
	*bench
	handler http.Handler
	cookie  string
}

var mouths = sync.OnceValue(func() [2]*mouth {
	hash, err := bcrypt.GenerateFromPassword([]byte(pin), bcrypt.MinCost)
	if err != nil {
		panic(err)
	}
	var all [2]*mouth
	for i := range all {
		m := &mouth{}
		m.bench = newBench(func(o *web.Options) {
			o.Past = &web.Past{}
			o.Closed = func(context.Context, string) ([]web.ClosedVisit, error) {
				return []web.ClosedVisit{{ID: 1, By: "A", Cells: []web.ClosedCell{{Cell: 3, Values: map[string]float64{order.MLField.Name: 20}}}}}, nil
			}
			if i == 1 {
				o.Writable, o.People = false, []web.Person{{Name: "Boss", Right: order.MayRelease, Hash: string(hash)}}
			}
		}, "bay-1")
		m.handler = m.bench.handler
		all[i] = m
	}
	w := all[1].form("/sign-in", "name=Boss&pin="+strings.ReplaceAll(pin, " ", "+"))
	for _, c := range w.Result().Cookies() {
		if c.Name == "bayward-session" {
			all[1].cookie = c.Name + "=" + c.Value
		}
	}
	return all
})

// fresh puts a new core behind the handlers.
func (m *mouth) fresh(t *testing.T, visit bool) {
	t.Helper()
	m.mu.Lock()
	m.cores["bay-1"] = bay.New(baytest.Setup("bay-1"))
	m.now = time.Minute
	m.step("bay-1")
	m.mu.Unlock()
	if visit {
		e, err := m.submit(t.Context(), "bay-1", order.Order{ID: "fuzz-open", Kind: order.VisitOpen, By: "Boss"})
		require.NoError(t, err)
		require.Equal(t, bay.OrderTaken, e.Kind)
	}
}

// asked returns a request as a server reads it, nil if it is none.
func (m *mouth) asked(target, body string, how uint8) *http.Request {
	method, kind, cookie, from := "GET", "application/x-www-form-urlencoded", "", "192.168.1.20:4000"
	if how&posted != 0 {
		method = "POST"
	}
	if how&asJSON != 0 {
		kind = "application/json"
	}
	if how&spanish != 0 {
		cookie = "bayward-language=es; bayward-units=us; "
	}
	if how&signed != 0 {
		cookie += m.cookie
	}
	text := fmt.Sprintf("%s %s HTTP/1.1\r\nHost: localhost\r\nContent-Type: %s\r\nCookie: %s\r\nContent-Length: %d\r\n\r\n%s", method, target, kind, cookie, len(body), body)
	r, err := http.ReadRequest(bufio.NewReader(strings.NewReader(text)))
	if err != nil {
		return nil
	}
	if r.RemoteAddr = from; how&behind != 0 {
		r.Header.Set("X-Forwarded-For", body)
	}
	return r
}

// FuzzRequest: no request that reaches the handlers makes one panic or answer that the
// fault is the server's; the answer is whole; nothing typed comes back as markup, and
// no form leads elsewhere; and what was refused has changed nothing.
func FuzzRequest(f *testing.F) {
	for _, seed := range []struct {
		target, body string
		how          uint8
	}{
		{"/bays/bay-1?hours=24", "", 0}, {"/bays/bay-1?hours=1e9", "", 0}, {"/bays/bay-1/past.json?hours=-1", "", spanish},
		{"/bays/bay-1/visit?step=cells&cell=3", "", visited}, {"/bays/bay-1/visit?step=correct&cell=99999999999999999999", "", visited},
		{"/bays/bay-1/closed?visit=1", "", 0}, {"/sheet?bay=bay-1", "", spanish}, {"/sign-in?to=%2f%2fx", "", people}, {"/hold?bay=%3Czz%3E", "", people},
		{visit, opening + "&by=A", posted}, {visit, closing + "&by=A", posted | visited},
		{visit, "action=cell&cell=3&given=0&how=measured&id=x1&ml=20&after=8&by=A&sure=yes", posted | visited},
		{visit, "action=before&cell=1&before=%2c5&by=A", posted | visited | spanish}, {visit, "action=quality&us=3,5&water=distilled&by=A", posted | visited},
		{visit, "action=sheet&ml-1=20&after-1=7&ml-12=NaN&by=%3Czz%3E", posted | visited}, {visit, "action=correct-ml&cell=3&value=1&was=2&reason=%00&by=A", posted | visited},
		{visit, "action=late&when=2026-01-01T00:00&done=B&ml-1=20&by=A", posted}, {visit, "action=join&ok-wear=yes&ok-metal=yes&ok-spark=yes&by=B", posted | visited},
		{visit, "action=cell&cell=3&ml=20", posted | visited | people}, {visit, opening, posted | people | signed},
		{"/bays/bay-1/closed", "action=correct-ml&visit=1&cell=3&value=4&was=20&reason=x&by=A", posted},
		{"/bays/bay-1/hold", "action=hold&reason=%3Czz%3E&by=A", posted}, {"/bays/bay-1/hold", "action=lock-remove&lock=hold&of=A&reason=x&ok-nobody=yes&by=B&form=cut-hold-1", posted},
		{"/bays/bay-1/pack", "pack=lift-24v&by=A", posted}, {"/settings", "language=es&units=us&to=//x", posted},
		{"/hold", "bay=bay-1&by=A&reason=x", posted | people}, {"/hold", "bay=bay-1&by=A", posted | people | behind},
		{"/sign-in", "name=Boss&pin=guess&to=/bays/bay-1&kept=a%3d%3Czz%3E", posted | people}, {"/sign-out", "", posted | people | signed},
		{"/api/v1/bays/bay-1/visit", `{"action":"open","by":"A"}`, posted | asJSON}, {"/api/v1/bays/bay-1/visit", `{"action":"entry","by":"A","cells":[{"cell":1,"ml":5},{"cell":99}]}`, posted | asJSON | visited},
		{"/api/v1/bays/bay-1/hold", `{"action":"lock-remove","by":"A","lock":"visit","of":null,"reason":"\ud800","nobody_at_pack":true}`, posted | asJSON | visited},
		{"/api/v1/bays/bay-1/pack", `{"action":"forget"}`, posted | asJSON | people | signed}, {"/bays/%zz/../hold?", "a=%zz;b", posted}, {"*", "", 0}, {"http://x/live", "", 0},
	} {
		f.Add(seed.target, seed.body, seed.how)
	}
	f.Fuzz(func(t *testing.T, target, body string, how uint8) {
		m := mouths()[how&people/people]
		r := m.asked(target, body, how)
		if r == nil {
			return
		}
		m.fresh(t, how&visited != 0)
		before := m.picture("bay-1")
		ctx, cancel := context.WithCancel(t.Context())
		if strings.HasPrefix(r.URL.Path, "/live") {
			cancel() // else it goes on
		}
		defer cancel()
		w := httptest.NewRecorder()
		m.handler.ServeHTTP(w, r.WithContext(ctx))
		whole(t, w, target+body)
		if after := m.picture("bay-1"); w.Code >= 400 || how&posted == 0 {
			require.Equal(t, before.Holds, after.Holds)
			require.Equal(t, before.Visit, after.Visit)
		}
	})
}

// whole checks an answer by itself.
func whole(t *testing.T, w *httptest.ResponseRecorder, typed string) {
	t.Helper()
	require.Less(t, w.Code, 500, w.Body)
	if to := w.Header().Get("Location"); to != "" {
		require.True(t, strings.HasPrefix(to, "/") && !strings.HasPrefix(to, "//") && !strings.HasPrefix(to, `/\`), to)
	}
	text := w.Body.String()
	switch kind, _, _ := strings.Cut(w.Header().Get("Content-Type"), ";"); {
	case kind == "text/html" && w.Code != 303:
		require.True(t, strings.HasSuffix(strings.TrimSpace(text), "</html>") || !strings.Contains(text, "<html"), "half a page")
		require.NotContains(t, text, "<zz")
		require.NotContains(t, text, "ZgotmplZ")
		require.True(t, strings.ContainsAny(typed, "⟦%") || !strings.Contains(text, "⟦") && !strings.Contains(text, "%!"), "a text that is not there")
	case kind == "application/json":
		require.True(t, json.Valid([]byte(text)), text)
	}
}
