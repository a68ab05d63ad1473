package web_test

import (
	"context"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/web"
)

func TestListenSaysWhatToDo(t *testing.T) {
	first, err := web.Listen(t.Context(), "127.0.0.1:0")
	require.NoError(t, err)
	defer first.Close()
	require.True(t, web.Loopback(first))
	addr := first.Addr().String()
	_, err = web.Listen(t.Context(), addr)
	require.ErrorContains(t, err, "listen on "+addr+": another program has this port; end it or choose another with --listen HOST:PORT")
	// 192.0.2.0/24 is reserved for documentation: RFC 5737.
	_, err = web.Listen(t.Context(), "192.0.2.1:0")
	require.ErrorContains(t, err, "listen on 192.0.2.1:0: this machine has no such address")
	_, err = web.Listen(t.Context(), "127.0.0.1:http-alt-none")
	require.ErrorContains(t, err, "choose another address with --listen HOST:PORT")
	all, err := web.Listen(t.Context(), "0.0.0.0:0")
	require.NoError(t, err)
	defer all.Close()
	require.False(t, web.Loopback(all))
}

// serve runs the real listener until the test ends and returns its address.
func serve(t *testing.T, webConfig string) string {
	t.Helper()
	log := slog.New(slog.DiscardHandler)
	l, err := web.Listen(t.Context(), "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- web.Serve(ctx, l, web.Server(newBench(nil, "bay-1").handler, log), webConfig, log) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-ended)
	})
	return "http://" + l.Addr().String()
}

func fetch(t *testing.T, url, user, password string) (int, string) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
	require.NoError(t, err)
	if user != "" {
		req.SetBasicAuth(user, password)
	}
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	answer, err := client.Do(req)
	require.NoError(t, err)
	defer answer.Body.Close()
	data, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return answer.StatusCode, string(data)
}

func TestServe(t *testing.T) {
	status, body := fetch(t, serve(t, "")+"/healthz", "", "")
	require.Equal(t, http.StatusOK, status)
	require.Equal(t, "ok\n", body)
}

// TestServeAsksForThePassword: the file has the format of Prometheus exporters.
func TestServeAsksForThePassword(t *testing.T) {
	path := filepath.Join(t.TempDir(), "web.yaml")
	const hash = "$2a$04$bG1jvLQ.9/9HIEdRUxJghuoWUIjwU4M6Z147PX5JH65XHp3mxYytu" // bcrypt of "correct horse"
	require.NoError(t, os.WriteFile(path, []byte("basic_auth_users:\n  shed: "+hash+"\n"), 0o600))
	at := serve(t, path) + "/api/v1/bays"
	status, _ := fetch(t, at, "", "")
	require.Equal(t, http.StatusUnauthorized, status)
	status, _ = fetch(t, at, "shed", "wrong")
	require.Equal(t, http.StatusUnauthorized, status)
	status, body := fetch(t, at, "shed", "correct horse")
	require.Equal(t, http.StatusOK, status)
	require.Contains(t, body, `"bay-1"`)
}

// TestServeEndsAtOnce: a context that ends before the first request leaves no
// listener and no goroutine behind.
func TestServeEndsAtOnce(t *testing.T) {
	log := slog.New(slog.DiscardHandler)
	l, err := web.Listen(t.Context(), "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.NoError(t, web.Serve(ctx, l, web.Server(http.NotFoundHandler(), log), "", log))
	_, err = (&net.Dialer{}).DialContext(t.Context(), "tcp", l.Addr().String())
	require.Error(t, err)
}

func TestServeWithABadFile(t *testing.T) {
	log := slog.New(slog.DiscardHandler)
	l, err := web.Listen(t.Context(), "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	err = web.Serve(t.Context(), l, web.Server(http.NotFoundHandler(), log), filepath.Join(t.TempDir(), "missing.yaml"), log)
	require.ErrorContains(t, err, "missing.yaml")
}

// TestStreamsEndWithTheListener: an open page does not delay the stop.
func TestStreamsEndWithTheListener(t *testing.T) {
	log := slog.New(slog.DiscardHandler)
	l, err := web.Listen(t.Context(), "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- web.Serve(ctx, l, web.Server(newBench(nil, "bay-1").handler, log), "", log) }()
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+l.Addr().String()+"/live", nil)
	require.NoError(t, err)
	answer, err := client.Do(req)
	require.NoError(t, err)
	defer answer.Body.Close()
	require.Equal(t, "text/event-stream", answer.Header.Get("Content-Type"))
	first := make([]byte, 32)
	n, err := answer.Body.Read(first)
	require.NoError(t, err)
	require.Contains(t, string(first[:n]), "event: picture\ndata: ")
	cancel()
	_, err = io.ReadAll(answer.Body) // a regular end, not a cut connection
	require.NoError(t, err)
	require.NoError(t, <-ended)
}
