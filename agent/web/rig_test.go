package web_test

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"bayward/agent/bay"
	"bayward/agent/bay/baytest"
	"bayward/agent/interlock"
	"bayward/agent/order"
	"bayward/agent/web"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// bench runs real cores behind the handler. Each order is one tick, as in the loop.
type bench struct {
	web.Options
	handler http.Handler

	mu    sync.Mutex // guards everything below
	cores map[string]*bay.Bay
	last  map[string]*bay.Picture
	names []string
	now   time.Duration
	stuck bool // the record: what is taken is not on record
}

func newBench(change func(*web.Options), names ...string) *bench {
	b := &bench{cores: map[string]*bay.Bay{}, last: map[string]*bay.Picture{}, names: names, now: time.Minute}
	for _, name := range names {
		b.cores[name] = bay.New(baytest.Setup(name))
		b.step(name)
	}
	b.Options = web.Options{
		Site: "quarry-road", Agent: "shed-2", Units: "si", Version: "v1", Writable: true,
		Pictures: b.pictures, Submit: b.submit, Healthy: func() error { return nil },
	}
	if change != nil {
		change(&b.Options)
	}
	b.handler = web.New(b.Options)
	return b
}

// step runs one tick with good readings.
func (b *bench) step(name string, orders ...order.Order) []bay.Event {
	b.now += time.Second
	r := baytest.AtRest().At(b.now)
	r.Orders = orders
	p, events := b.cores[name].Step(&r)
	b.last[name] = p.Clone()
	return append([]bay.Event(nil), events...)
}

func (b *bench) pictures() []*bay.Picture {
	b.mu.Lock()
	defer b.mu.Unlock()
	var all []*bay.Picture
	for _, name := range b.names {
		all = append(all, b.last[name])
	}
	return all
}

func (b *bench) submit(_ context.Context, name string, o order.Order) (bay.Event, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, e := range b.step(name, o) {
		if e.Order == o.ID && (e.Kind == bay.OrderTaken || e.Kind == bay.OrderRefused) {
			if b.stuck && (e.Kind == bay.OrderTaken || e.Why.Code == order.Repeated) {
				return e, order.ErrNotOnRecord
			}
			return e, nil
		}
	}
	return bay.Event{}, errors.New("the core said nothing of the order")
}

// unrecorded stops the record.
func (b *bench) unrecorded() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.stuck = true
}

// change alters the last picture of a bay, for states that a core would need hours
// to reach.
func (b *bench) change(name string, f func(p *bay.Picture)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	p := b.last[name].Clone()
	f(p)
	b.last[name] = p
}

func (b *bench) picture(name string) *bay.Picture {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.last[name]
}

type request struct {
	method, path, body string
	header             map[string]string
	host               string
}

func (b *bench) do(r request) *httptest.ResponseRecorder {
	req := httptest.NewRequest(r.method, r.path, strings.NewReader(r.body))
	req.Host = "127.0.0.1:8080"
	if r.host != "" {
		req.Host = r.host
	}
	for k, v := range r.header {
		req.Header.Set(k, v)
	}
	w := httptest.NewRecorder()
	b.handler.ServeHTTP(w, req)
	return w
}

func (b *bench) get(path string) *httptest.ResponseRecorder {
	return b.do(request{method: http.MethodGet, path: path})
}

func (b *bench) post(path, body string) *httptest.ResponseRecorder {
	return b.do(request{method: http.MethodPost, path: path, body: body, header: map[string]string{"Content-Type": "application/json"}})
}

func (b *bench) form(path, body string) *httptest.ResponseRecorder {
	return b.do(request{method: http.MethodPost, path: path, body: body, header: map[string]string{
		"Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "same-origin",
	}})
}

func text(t *testing.T, w *httptest.ResponseRecorder) string {
	t.Helper()
	data, err := io.ReadAll(w.Body)
	require.NoError(t, err)
	return string(data)
}

func raise(p *bay.Picture, c interlock.Code, e interlock.Evidence) {
	p.Findings[c] = bay.Finding{Raised: true, Since: p.Now - 4*time.Minute, Evidence: e, Latched: interlock.Table[c].Latches}
}
