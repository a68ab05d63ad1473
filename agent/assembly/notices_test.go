package assembly

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/config"
	"bayward/agent/loop"
)

// TestANoticeReachesTheYardsOwnServer: from a picture to what the site's own
// server receives, in the site's language.
func TestANoticeReachesTheYardsOwnServer(t *testing.T) {
	got := make(chan map[string]any, 10)
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m map[string]any
		data, err := io.ReadAll(r.Body)
		if err == nil && json.Unmarshal(data, &m) == nil {
			got <- m
		}
	}))
	defer server.Close()
	limits, pack := bay.DefaultLimits(), bay.Pack{Name: "lift-24v", Cells: 12}
	a := &Agent{Parts: Parts{
		Log: slog.New(slog.DiscardHandler), Wall: func() (time.Time, bool) { return time.Unix(1e9, 0), true },
		Config: &config.Config{
			Site: "quarry-road", Agent: "shed-2", Language: "es", Units: "si", Bays: []config.Bay{{Name: "bay-1"}},
			Notify: &config.Notify{Webhooks: []config.Webhook{{Name: "hook", URL: server.URL, Method: "POST"}}},
		},
	}}
	require.NoError(t, a.buildNotices())
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- a.notices.sender.Run(ctx) }()
	defer func() {
		cancel()
		require.NoError(t, <-ended)
	}()
	p := &bay.Picture{Bay: "bay-1", Pack: &pack, Limits: &limits, Stage: bay.ReadyToWater, Now: time.Hour}
	p.Charge.Full, p.Water.Known, p.Water.Cells, p.Water.TotalML = true, true, 12, 1200
	for i := range 12 {
		p.Water.NeedML[i] = 100
	}
	tell := func(p *bay.Picture) {
		a.notices.Take(ctx, &loop.News{Bay: "bay-1", Picture: p, Wall: time.Unix(1e9, 0), Trusted: true})
	}
	tell(p)
	tell(p)
	raised := <-got
	require.Equal(t, "bay-1: lista para rellenar", raised["title"])
	require.Equal(t, "raised", raised["state"])
	require.Contains(t, raised["text"], "Cada uno de los 12 vasos: 100 ml")
	require.Contains(t, raised["cautions"], "pantalla facial sobre gafas de protección")
	rested := *p
	rested.Stage = bay.Rested
	tell(&rested)
	settled := <-got
	require.Equal(t, "settled", settled["state"], "the second picture told nothing new")
	require.Equal(t, raised["id"], settled["id"])
	problems, err := testutil.CollectAndLint(noticeMetrics{a.notices.sender})
	require.NoError(t, err)
	require.Empty(t, problems)
}

// TestNoWayNoSender: without mail or webhooks configured, no sender runs.
func TestNoWayNoSender(t *testing.T) {
	a := &Agent{Parts: Parts{Config: &config.Config{Notify: &config.Notify{QuietHours: "20:00-06:00"}}}}
	require.NoError(t, a.buildNotices())
	require.Nil(t, a.notices)
}
