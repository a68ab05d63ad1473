package web_test

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/order"
	"bayward/agent/view"
	"bayward/agent/web"
)

func TestBays(t *testing.T) {
	b := newBench(nil, "bay-1", "bay-2")
	var all struct {
		V           int
		Site, Agent string
		Bays        []view.View
	}
	w := b.get("/api/v1/bays")
	require.Equal(t, http.StatusOK, w.Code)
	require.Equal(t, "application/json; charset=utf-8", w.Header().Get("Content-Type"))
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &all))
	require.Equal(t, "quarry-road", all.Site)
	require.Len(t, all.Bays, 2)
	var one view.View
	require.NoError(t, json.Unmarshal(b.get("/api/v1/bays/bay-2").Body.Bytes(), &one))
	require.Equal(t, all.Bays[1], one)
	require.Equal(t, "bay-2", one.Bay)
	require.NotNil(t, one.PackV)
	require.InDelta(t, 25.2, *one.PackV, 1e-9)

	none := newBench(nil)
	require.JSONEq(t, `{"v":1,"site":"quarry-road","agent":"shed-2","bays":[]}`, text(t, none.get("/api/v1/bays")))
}

func TestBadRequests(t *testing.T) {
	const visit = "/api/v1/bays/bay-1/visit"
	asJSON := map[string]string{"Content-Type": "application/json"}
	for _, row := range []struct {
		name    string
		request request
		status  int
		message string
	}{
		{"no such bay", request{method: "GET", path: "/api/v1/bays/bay-9"}, 404, "no bay has this name; /api/v1/bays lists them"},
		{"no such address", request{method: "GET", path: "/api/v2"}, 404, "there is nothing at this address; the page is at /, the interface at /api/v1/bays"},
		{"wrong method", request{method: "DELETE", path: "/api/v1/bays/bay-1"}, 405, "DELETE is not accepted here: use GET"},
		{"wrong method of an order", request{method: "PUT", path: visit}, 405, "PUT is not accepted here: use POST"},
		{"order to no such bay", request{method: "POST", path: "/api/v1/bays/bay-9/visit", body: "{}", header: asJSON}, 404, "no bay has this name; /api/v1/bays lists them"},
		{"no content type", request{method: "POST", path: visit, body: "{}"}, 415, "the body must be JSON, with Content-Type: application/json"},
		{"a form for a program", request{method: "POST", path: visit, body: "action=open", header: map[string]string{"Content-Type": "text/plain"}}, 415, "the body must be JSON, with Content-Type: application/json"},
		{"another site", request{method: "POST", path: visit, body: "{}", header: map[string]string{"Content-Type": "application/json", "Sec-Fetch-Site": "cross-site"}}, 403, "the request comes from another web site; open this page itself"},
		{"another origin", request{method: "POST", path: visit, body: "{}", header: map[string]string{"Content-Type": "application/json", "Origin": "http://bad.example"}}, 403, "the request comes from another web site; open this page itself"},
		{"a name that was pointed here", request{method: "POST", path: visit, body: "{}", header: asJSON, host: "rebound.example:8080"}, 403, "orders are taken only under an address, localhost, a name without dots or one that ends in .local"},
	} {
		t.Run(row.name, func(t *testing.T) {
			b := newBench(nil, "bay-1")
			before := b.picture("bay-1").Now
			refused(t, b.do(row.request), row.status, row.message)
			require.Equal(t, before, b.picture("bay-1").Now, "an order went through")
		})
	}
}

func refused(t *testing.T, w *httptest.ResponseRecorder, status int, message string) {
	t.Helper()
	var body struct {
		Error struct{ Code, Message string }
	}
	raw := text(t, w)
	require.NoError(t, json.Unmarshal([]byte(raw), &body), raw)
	require.Equal(t, message, body.Error.Message)
	require.NotEmpty(t, body.Error.Code)
	require.Equal(t, status, w.Code)
}

func TestBadOrders(t *testing.T) {
	for _, row := range []struct {
		name, body string
		status     int
		message    string
	}{
		{"empty", "", 400, `the body is empty: must be a JSON object such as {"action":"hold","by":"A. Person"}`},
		{"no JSON", "open", 400, "the body is not accepted: invalid character 'o' looking for beginning of value"},
		{"half an object", `{"action":`, 400, "the body is not accepted: unexpected EOF"},
		{"two objects", `{"action":"open","by":"A"}{}`, 400, "the body must be one JSON object and nothing after it"},
		{"unknown field", `{"action":"open","by":"A","force":true}`, 400, `the body is not accepted: unknown field "force"`},
		{"unknown action", `{"action":"release","by":"A"}`, 400, `field action: value "release" is not accepted: must be one of open, join, leave, close, fill, gravity, level, quality, entry, correct`},
		{"nobody", `{"action":"open"}`, 400, `field by: value "" is not accepted: must be the person's name, 1 to 60 printable characters`},
		{"blank name", `{"action":"open","by":"  "}`, 400, `field by: value "" is not accepted: must be the person's name, 1 to 60 printable characters`},
		{"name that moves the terminal", `{"action":"open","by":"A\u001b[2J"}`, 400, `field by: value "A\x1b[2J" is not accepted: must be the person's name, 1 to 60 printable characters`},
		{"long name", `{"action":"open","by":"` + strings.Repeat("x", 61) + `"}`, 400, `field by: value "` + strings.Repeat("x", 40) + `…" is not accepted: must be the person's name, 1 to 60 printable characters`},
		{"long id", `{"action":"open","by":"A","id":"` + strings.Repeat("x", 65) + `"}`, 400, `field id: value "` + strings.Repeat("x", 40) + `…" is not accepted: must be 1 to 64 printable characters`},
		{"letters for ml", `{"action":"fill","by":"A","cell":1,"ml":"plenty"}`, 400, "field ml: value (string) is not accepted: must be a number"},
		{"half a cell", `{"action":"fill","by":"A","cell":1.5,"ml":10}`, 400, "field cell: value (number 1.5) is not accepted: must be a whole number"},
		{"negative", `{"action":"fill","by":"A","cell":1,"ml":-5}`, 400, "field ml: -5 ml is not accepted: must be 0 to 2000 ml"},
		{"five litres", `{"action":"fill","by":"A","cell":1,"ml":5000}`, 400, "field ml: 5000 ml is not accepted: must be 0 to 2000 ml"},
		{"no ml", `{"action":"fill","by":"A","cell":1}`, 400, "field ml: is missing: must be 0 to 2000 ml"},
		{"no such cell", `{"action":"fill","by":"A","cell":13,"ml":5}`, 400, "field cell: 13 is not accepted: must be a whole number, 1 to 12"},
		{"cell none", `{"action":"fill","by":"A","cell":0,"ml":5}`, 400, "field cell: 0 is not accepted: must be a whole number, 1 to 12"},
		{"stray field", `{"action":"open","by":"A","ml":5}`, 400, "field ml: does not belong to this order"},
		{"gravity of water and less", `{"action":"gravity","by":"A","cell":1,"gravity":0.9,"at_c":20}`, 400, "field gravity: 0.9 is not accepted: must be 1 to 1.4"},
		{"one megabyte", `{"action":"open","by":"` + strings.Repeat("x", 1<<20) + `"}`, 413, "the body is larger than 12288 bytes"},
		{"no visit is open", `{"action":"fill","by":"A","cell":1,"ml":5}`, 409, "Refused fill: no visit is open."},
	} {
		t.Run(row.name, func(t *testing.T) {
			b := newBench(nil, "bay-1")
			refused(t, b.post("/api/v1/bays/bay-1/visit", row.body), row.status, row.message)
			require.False(t, b.picture("bay-1").Visit.Open)
		})
	}
}

// TestVisitThroughTheInterface: open, water and close, with every answer from the
// real core.
func TestVisitThroughTheInterface(t *testing.T) {
	b := newBench(nil, "bay-1")
	const visit = "/api/v1/bays/bay-1/visit"
	require.JSONEq(t, `{"v":1,"bay":"bay-1","id":"a","on_record":true,"text":"The visit is open."}`, text(t, b.post(visit, `{"action":"open","by":"A. Person","id":"a"}`)))
	require.Equal(t, "A. Person", b.picture("bay-1").Visit.By)
	require.Equal(t, 200, b.post(visit, `{"action":"fill","by":"A. Person","cell":12,"ml":110.5,"id":"b","sure":true}`).Code)
	refused(t, b.post(visit, `{"action":"fill","by":"A. Person","cell":12,"ml":110.5,"id":"b","sure":true}`), 409, "Refused fill: an order with this ID was taken before.")
	require.InDelta(t, 110.5, b.picture("bay-1").Visit.GivenML[11], 1e-9)
	require.Equal(t, 200, b.post(visit, `{"action":"level","by":"A. Person","cell":2,"level_mm":12}`).Code)
	require.Equal(t, 200, b.post(visit, `{"action":"gravity","by":"A. Person","cell":2,"gravity":1.27,"at_c":30}`).Code)
	require.Equal(t, 200, b.post(visit, `{"action":"close","by":"A. Person"}`).Code)
	require.False(t, b.picture("bay-1").Visit.Open)
}

// TestIDsAreUnlike: an order without an ID gets its own.
func TestIDsAreUnlike(t *testing.T) {
	b, seen := newBench(nil, "bay-1"), map[string]bool{}
	for range 20 {
		var done struct{ ID string }
		require.NoError(t, json.Unmarshal(b.post("/api/v1/bays/bay-1/hold", `{"action":"hold","by":"A"}`).Body.Bytes(), &done))
		require.False(t, seen[done.ID] || done.ID == "")
		seen[done.ID] = true
	}
}

// TestStrangersCanOnlyHold: an unknown caller can make a bay more careful and
// nothing else.
func TestStrangersCanOnlyHold(t *testing.T) {
	b := newBench(func(o *web.Options) { o.Writable = false }, "bay-1")
	const why = "this listener does not know who asks, so it takes only holds; visits and releases are taken at the Pi itself (127.0.0.1) or behind authentication"
	require.Equal(t, 200, b.post("/api/v1/bays/bay-1/hold", `{"action":"hold","by":"A"}`).Code)
	for _, action := range []string{"unhold", "release"} {
		refused(t, b.post("/api/v1/bays/bay-1/hold", `{"action":"`+action+`","by":"A"}`), 403, why)
	}
	for _, body := range []string{
		`{"action":"open","by":"A"}`, `{"action":"close","by":"A"}`, `{"action":"fill","by":"A","cell":1,"ml":1}`,
		`{"action":"level","by":"A","cell":1,"level_mm":1}`, `{"action":"quality","by":"A","us_per_cm":4}`, `{"action":"gravity","by":"A","cell":1,"gravity":1.2,"at_c":20}`,
	} {
		refused(t, b.post("/api/v1/bays/bay-1/visit", body), 403, why)
	}
	require.Equal(t, 403, b.form("/bays/bay-1/visit", opening+"&by=A").Code)
	require.Equal(t, 403, b.form("/bays/bay-1/hold", "action=unhold&by=A").Code)
	require.Contains(t, b.picture("bay-1").Codes(), "held")
}

// TestNoAnswerFromTheLoop: if the loop is stuck, the caller waits five seconds and
// no longer. The bubble's clock moves only when all goroutines wait.
func TestNoAnswerFromTheLoop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(func(o *web.Options) {
			o.Submit = func(ctx context.Context, _ string, _ order.Order) (bay.Event, error) {
				<-ctx.Done()
				return bay.Event{}, ctx.Err()
			}
		}, "bay-1")
		began := time.Now()
		refused(t, b.post("/api/v1/bays/bay-1/hold", `{"action":"hold","by":"A"}`), 503,
			"the bay did not answer, so it is not known whether the order was taken: look at the bay, then send the same id again")
		require.Equal(t, 5*time.Second, time.Since(began))
	})
}

func TestHealthz(t *testing.T) {
	var late error
	b := newBench(func(o *web.Options) { o.Healthy = func() error { return late } }, "bay-1")
	w := b.get("/healthz")
	require.Equal(t, 200, w.Code)
	require.Equal(t, "ok\n", text(t, w))
	late = errors.New("bay-1: no tick for 7 s")
	w = b.get("/healthz")
	require.Equal(t, 503, w.Code)
	require.Equal(t, "bay-1: no tick for 7 s\n", text(t, w))
	require.Contains(t, text(t, b.get("/")), "These readings may be out of date: bay-1: no tick for 7 s.")
	blind := newBench(func(o *web.Options) { o.Healthy = nil }, "bay-1")
	require.Equal(t, 503, blind.get("/healthz").Code, "nobody watching is not healthy")
}

func TestMetricsAreServed(t *testing.T) {
	b := newBench(func(o *web.Options) {
		o.Metrics = http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("bayward_up 1\n")) })
	})
	require.Equal(t, "bayward_up 1\n", text(t, b.get("/metrics")))
	require.Equal(t, 404, newBench(nil).get("/metrics").Code)
}

// FuzzOrders: any order that reaches a core is within its bounds.
func FuzzOrders(f *testing.F) {
	for _, body := range []string{
		`{"action":"open","by":"A"}`, `{"action":"fill","by":"A","cell":1,"ml":1e3}`, `{"action":"gravity","by":"A","cell":1,"gravity":1.2,"at_c":20}`,
		`{"action":"level","by":"A","cell":12,"level_mm":-200}`, `{"action":"hold","by":"\ud800"}`, `[]`, `{"ml":1e999}`,
		"action=fill&by=A&ml=1&ml=&ml=3", "action=open&by=A&cautions=read", "action=fill&by=A&ml=NaN&ml=Inf", "%zz",
	} {
		f.Add(body)
	}
	f.Fuzz(func(t *testing.T, body string) {
		b := newBench(nil, "bay-1")
		core := b.submit
		b.Submit = func(ctx context.Context, name string, o order.Order) (bay.Event, error) {
			if o.ID == "" || o.By == "" || strings.ContainsAny(o.By+o.ID, "\n\x00\x1b") || len(o.By) > 240 || !(o.ML >= 0 && o.ML <= order.MLField.High) {
				t.Errorf("order %+v", o)
			}
			e, err := core(ctx, name, o)
			if err == nil && e.Kind == bay.OrderRefused && order.Check(&o, order.Limits{Cells: 12}) != nil {
				t.Errorf("order %+v had to be refused by the core: %s", o, e.Why.Code)
			}
			return e, err
		}
		b.handler = web.New(b.Options)
		b.post("/api/v1/bays/bay-1/visit", body)
		b.post("/api/v1/bays/bay-1/hold", body)
		b.form("/bays/bay-1/visit", body)
		b.form("/bays/bay-1/hold", body)
	})
}
