package assembly_test

import (
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bayward/agent/assembly"
	"bayward/agent/assembly/assemblytest"
	"bayward/agent/config/configtest"
	"bayward/agent/logbook"
)

// TestThePageRemembers: the bay's page shows what happened before a restart.
func TestThePageRemembers(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logbook.db")
	proven := func(_ *assemblytest.Site, p *assembly.Parts) {
		p.Gap = func(logbook.Stamp) (time.Duration, bool) { return 2 * time.Hour, true }
	}
	first := assemblytest.New(t, configtest.Parse(t, configtest.OneBay(t, "LOGBOOK", path)), nil, nil)
	for range 20 {
		first.Tick()
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	again := assemblytest.New(t, configtest.Parse(t, configtest.OneBay(t, "LOGBOOK", path)), nil, proven)
	defer again.Close()
	again.Tick()
	if err := again.RecallAll(t.Context()); err != nil { // as the program does once it runs
		t.Fatal(err)
	}
	w := httptest.NewRecorder()
	again.Page(nil).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/bays/bay-1", nil))
	page := w.Body.String()
	history := page[strings.Index(page, `id="history"`):]
	if !strings.Contains(history, "2 h ago") {
		t.Errorf("nothing of two hours ago: %.600s", history)
	}
	if strings.Index(history, "2 h ago") < strings.Index(history, "0 s ago") {
		t.Errorf("what happened before stands above what happens: %.600s", history)
	}
}
