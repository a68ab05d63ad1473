package certs

import (
	"context"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/config"
)

// issue has openssl make a certificate that lasts so many days, so that what reads it here
// has not made it.
func issue(t *testing.T, folder, name string, days int) (path string) {
	t.Helper()
	openssl, err := exec.LookPath("openssl")
	if err != nil {
		if os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	path = filepath.Join(folder, name+".pem")
	out, err := exec.CommandContext(t.Context(), openssl, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
		"-keyout", filepath.Join(folder, name+".key"), "-out", path, "-days", strconv.Itoa(days), "-subj", "/CN="+name).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return path
}

// says is what openssl reads as the end.
func says(t *testing.T, path string) time.Time {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), "openssl", "x509", "-noout", "-enddate", "-dateopt", "iso_8601", "-in", path).Output()
	require.NoError(t, err)
	at, err := time.Parse("notAfter=2006-01-02 15:04:05Z\n", string(out))
	require.NoError(t, err)
	return at
}

func join(t *testing.T, path string, parts ...string) string {
	t.Helper()
	var all []byte
	for _, p := range parts {
		text, err := os.ReadFile(p)
		require.NoError(t, err)
		all = append(all, text...)
	}
	require.NoError(t, os.WriteFile(path, all, 0o600))
	return path
}

// TestEnds: a chain is as good as its weakest link, a list of authorities as good as its
// last one; a key in the same file is no certificate.
func TestEnds(t *testing.T) {
	dir := t.TempDir()
	short, long := issue(t, dir, "short", 20), issue(t, dir, "long", 4000)
	both := join(t, filepath.Join(dir, "both.pem"), filepath.Join(dir, "long.key"), long, short)
	other := join(t, filepath.Join(dir, "other.pem"), short, long)
	for _, path := range []string{both, other} {
		at, err := File{Path: path}.Ends()
		require.NoError(t, err)
		require.Equal(t, says(t, short), at)
		at, err = File{Path: path, Authority: true}.Ends()
		require.NoError(t, err)
		require.Equal(t, says(t, long), at)
	}

	broken := filepath.Join(dir, "broken.pem")
	require.NoError(t, os.WriteFile(broken, []byte("-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"), 0o600))
	for path, want := range map[string]string{
		broken:                            "broken.pem: x509: ",
		filepath.Join(dir, "short.key"):   "no PEM certificate in it",
		filepath.Join(dir, "missing.pem"): "no such file",
	} {
		_, err := File{Path: path}.Ends()
		require.ErrorContains(t, err, want)
	}
}

// TestFiles: every file of certificates in a configuration is looked at, that of the page
// by way of the web configuration file and relative to it.
func TestFiles(t *testing.T) {
	dir := t.TempDir()
	web := filepath.Join(dir, "web.yaml")
	require.NoError(t, os.WriteFile(web, []byte("tls_server_config:\n  cert_file: page.pem\n  key_file: page.key\n"), 0o600))
	cfg := &config.Config{
		HTTP: config.HTTP{WebConfigFile: web},
		MQTT: &config.MQTT{CAFile: "/a/ca.pem", CertFile: "/a/agent.pem"},
		Notify: &config.Notify{
			Mail:     []config.Mail{{}, {CAFile: "/a/mail.pem"}},
			Webhooks: []config.Webhook{{CAFile: "/a/hook.pem"}},
		},
	}
	require.Equal(t, []File{
		{"http.web_config_file", "page", filepath.Join(dir, "page.pem"), false},
		{"mqtt.cert_file", "broker-client", "/a/agent.pem", false},
		{"mqtt.ca_file", "broker-authority", "/a/ca.pem", true},
		{"notify.mail[1].ca_file", "mail-authority", "/a/mail.pem", true},
		{"notify.webhooks[0].ca_file", "webhook-authority", "/a/hook.pem", true},
	}, Files(cfg))
	require.Empty(t, Files(&config.Config{}))
	for _, text := range []string{"basic_auth_users: {}\n", "{", ""} {
		require.NoError(t, os.WriteFile(web, []byte(text), 0o600))
		require.Empty(t, Files(&config.Config{HTTP: config.HTTP{WebConfigFile: web}}), text)
	}
}

// TestWatch: a certificate that is renewed shows within the hour, without a restart; one
// that can no longer be read is not shown as it was.
func TestWatch(t *testing.T) {
	dir := t.TempDir()
	old, renewed := issue(t, dir, "old", 20), issue(t, dir, "renewed", 400)
	oldEnds, newEnds := says(t, old), says(t, renewed)
	path := join(t, filepath.Join(dir, "agent.pem"), old)
	synctest.Test(t, func(t *testing.T) {
		w := NewWatch([]File{{Use: "page", Path: renewed}, {Use: "broker-client", Path: path}, {Use: "page", Path: old}}, slog.New(slog.DiscardHandler))
		shown := func() map[string]time.Time {
			synctest.Wait()
			all := map[string]time.Time{}
			w.Ends(func(use string, at time.Time) { all[use] = at })
			return all
		}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- w.Run(ctx) }()
		require.Equal(t, map[string]time.Time{"page": oldEnds, "broker-client": oldEnds}, shown())
		join(t, path, renewed)
		time.Sleep(Every)
		require.Equal(t, map[string]time.Time{"page": oldEnds, "broker-client": newEnds}, shown())
		require.NoError(t, os.Remove(path))
		time.Sleep(Every)
		require.Equal(t, map[string]time.Time{"page": oldEnds}, shown())
		cancel()
		require.NoError(t, <-ended)
	})
}
