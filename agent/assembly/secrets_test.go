package assembly_test

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"bayward/agent/assembly"
	"bayward/agent/assembly/assemblytest"
	"bayward/agent/bay"
	"bayward/agent/check"
	"bayward/agent/config"
	"bayward/agent/config/configtest"
	"bayward/agent/words"
	"bayward/sensors/sim"
)

// talk is a log at its most talkative.
type talk struct {
	mu   sync.Mutex
	text strings.Builder
}

func (l *talk) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *talk) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// TestNoOutputHasASecret: a webhook whose server repeats the request in its refusal,
// one that is not there, and a broker with a token in its path. Nothing that anybody
// can read has a part of them: log, page, record and its file, metrics, interface,
// check.
func TestNoOutputHasASecret(t *testing.T) {
	const token = "Tk7Zq9secret"
	asked := make(chan struct{}, 8)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.WriteHeader(http.StatusInternalServerError)
		_, _ = fmt.Fprintf(w, "cannot serve http://%s%s: %s", r.Host, r.URL, r.Header.Get("Authorization"))
		asked <- struct{}{}
	}))
	defer server.Close()
	dir := t.TempDir()
	cfg := configtest.Parse(t, configtest.OneBay(t, "LOGBOOK", filepath.Join(dir, "logbook.db")))
	cfg.HTTP.Listen = "127.0.0.1:0"
	cfg.MQTT = &config.MQTT{Broker: "ws://127.0.0.1:1/" + token, ClientID: "shed", KeepAliveS: 30}
	cfg.Notify = &config.Notify{Webhooks: []config.Webhook{
		{Name: "echo", URL: server.URL + "/hooks/" + token + "?key=" + token, Method: "POST", Headers: []config.Header{{Name: "Authorization", Value: "Bearer " + token}}, Body: token},
		{Name: "gone", URL: "http://127.0.0.1:1/" + token, Method: "POST"},
	}}
	log := &talk{}
	starts := map[string]sim.Opts{"bay-1": {StateOfCharge: 0.5, LevelMM: -5, PackC: 25, Charger: sim.TwoStage, Connected: true}}
	s := assemblytest.New(t, cfg, starts, func(_ *assemblytest.Site, p *assembly.Parts) {
		p.Log = slog.New(slog.NewTextHandler(log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	})
	ctx, cancel := context.WithCancel(t.Context())
	g, ctx := errgroup.WithContext(ctx)
	require.NoError(t, s.Serve(ctx, g))
	s.Until("bare plates", time.Hour, func(p *bay.Picture) bool { return strings.Contains(strings.Join(p.Codes(), " "), "plates-bare") })
	<-asked
	assemblytest.Until(t, "the log of each way", func() bool {
		text := log.String()
		return strings.Contains(text, "way=echo") && strings.Contains(text, "way=gone") && strings.Contains(text, "broker=ws://127.0.0.1:1/…")
	})
	seen := map[string]string{"log": log.String()}
	for _, path := range []string{"/", "/bays/bay-1", "/metrics", "/api/v1/bays", "/records", "/api/v1/records.json", "/api/v1/records.csv"} {
		seen[path] = assemblytest.Get(t, "http://"+s.Address()+path)
	}
	cancel()
	require.NoError(t, g.Wait())
	require.NoError(t, s.Close())
	seen["log"] = log.String()
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, f := range files {
		data, err := os.ReadFile(filepath.Join(dir, f.Name()))
		require.NoError(t, err)
		seen[f.Name()] = string(data)
	}
	addChecks(t, cfg, seen)
	for name, text := range seen {
		require.NotEmpty(t, text, name)
		require.False(t, strings.Contains(text, token), name)
	}
	require.Contains(t, seen["log"], "cannot serve http://127.0.0.1:", "the host is shown")
	require.Contains(t, seen["/metrics"], `bayward_notices_send_failures_total{way="echo"}`)
}

// addChecks adds what the command check prints.
func addChecks(t *testing.T, cfg *config.Config, seen map[string]string) {
	t.Helper()
	setups, err := check.Setups(cfg)
	require.NoError(t, err)
	v := words.EnglishSI()
	r := &check.Report{File: "f", Config: cfg, Setups: setups, Warnings: cfg.Warnings(v)}
	var text, program strings.Builder
	require.NoError(t, r.WriteText(&text, v))
	require.NoError(t, check.WriteJSON(&program, cfg, r.Warnings))
	require.Contains(t, program.String(), "/…")
	seen["check"], seen["check --json"] = text.String(), program.String()
}
