package assembly_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/assembly/assemblytest"
	"bayward/agent/commission"
	"bayward/agent/config/configtest"
	"bayward/agent/logbook"
)

// TestThePageKnowsTheProof: page and state have what a walk on record has proven of
// the watchdog relay, and nothing of it with simulated sensors.
func TestThePageKnowsTheProof(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logbook.db")
	cfg := configtest.Parse(t, configtest.OneBay(t, "LOGBOOK", path))
	book, err := logbook.Open(t.Context(), path, assemblytest.Quiet())
	require.NoError(t, err)
	walked := time.Now().Add(-100 * 24 * time.Hour)
	stamp := commission.Stamp{Wall: walked, Trusted: true}
	body, err := json.Marshal(commission.Record{
		V: 1, ID: "w", Bay: "bay-1", Person: "A. Person", Watchdog: cfg.Bays[0].Wiring.Relay.Heartbeat, Begun: stamp,
		Steps: []commission.Step{{Key: "heartbeat", Result: commission.Passed, Ended: stamp, By: "A. Person"}},
	})
	require.NoError(t, err)
	require.NoError(t, book.SaveCommissioning(t.Context(), logbook.Commissioning{Bay: "bay-1", ID: "w", Begun: logbook.Stamp{Wall: walked}, Body: body}))
	require.NoError(t, book.Close())
	for sensors, want := range map[string]bool{"wired": true, "simulated": false} {
		cfg.Sensors = sensors
		site := assemblytest.New(t, cfg, nil, nil)
		site.Tick()
		page, state := httptest.NewRecorder(), httptest.NewRecorder()
		site.Page(nil).ServeHTTP(page, httptest.NewRequest(http.MethodGet, "/bays/bay-1", nil))
		site.Page(nil).ServeHTTP(state, httptest.NewRequest(http.MethodGet, "/api/v1/bays/bay-1", nil))
		require.NoError(t, site.Close())
		require.Equal(t, want, strings.Contains(page.Body.String(), "by A. Person, 100 days ago"), sensors)
		require.Equal(t, want, strings.Contains(state.Body.String(), `"proven_at":"`+walked.UTC().Format(time.RFC3339)), sensors)
	}
}
