package main

import (
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bayward/agent/config/configtest"
	"bayward/agent/logbook"
)

// TestThePageRemembers: what happened before a restart is on the bay's page
// again.
func TestThePageRemembers(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logbook.db")
	proven := func(p *parts) { p.gap = func(logbook.Stamp) (time.Duration, bool) { return 2 * time.Hour, true } }
	first := newYard(t, configtest.Parse(t, configtest.OneBay(t, "LOGBOOK", path)), nil, nil)
	for range 20 {
		first.tick()
	}
	if err := first.close(); err != nil {
		t.Fatal(err)
	}
	again := newYard(t, configtest.Parse(t, configtest.OneBay(t, "LOGBOOK", path)), nil, proven)
	defer again.close()
	again.tick()
	if err := again.recallAll(t.Context()); err != nil { // as the program does once it runs
		t.Fatal(err)
	}
	w := httptest.NewRecorder()
	again.page(nil).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/bays/bay-1", nil))
	page := w.Body.String()
	history := page[strings.Index(page, `id="history"`):]
	if !strings.Contains(history, "2 h 00 min ago") {
		t.Errorf("nothing of two hours ago: %.600s", history)
	}
	if strings.Index(history, "2 h 00 min ago") < strings.Index(history, "0 s ago") {
		t.Errorf("what happened before stands above what happens: %.600s", history)
	}
}
