package deploy_test

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/web"
)

// TestHowToTLS makes the site's CA and a Pi's certificate with the commands of the page,
// and serves with them as the page says: a phone that trusts the CA gets through, another
// name is not covered, and a renewed certificate is taken up without a restart.
func TestHowToTLS(t *testing.T) {
	openssl, err := exec.LookPath("openssl")
	if err != nil {
		if os.Getenv("BAYWARD_REQUIRE_TOOLS") != "" {
			t.Fatal("openssl is not installed")
		}
		t.Skip("openssl is not installed")
	}
	text, dir := readFile(t, howTo), t.TempDir()
	part := text[strings.Index(text, "## TLS and phones"):]
	part = part[:strings.Index(part, "\n## ")]
	files := regexp.MustCompile("in `([a-z0-9-]+\\.ext)`[^|]*\\| `([^`]+)`").FindAllStringSubmatch(part, -1)
	require.Len(t, files, 2)
	for _, f := range files {
		require.NoError(t, os.WriteFile(filepath.Join(dir, f[1]), []byte(strings.ReplaceAll(f[2], "; ", "\n")+"\n"), 0o600))
	}
	yaml := regexp.MustCompile("`(tls_server_config: [^`]+)`").FindStringSubmatch(part)
	require.NotNil(t, yaml)
	etc := filepath.Join(dir, "etc")
	require.NoError(t, os.Mkdir(etc, 0o700))
	config := filepath.Join(etc, "web.yaml")
	require.NoError(t, os.WriteFile(config, []byte(yaml[1]+"\n"), 0o600))
	run := func(command string) string {
		t.Helper()
		var args []string
		for _, word := range regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(command, -1)[1:] {
			args = append(args, strings.Trim(word, `"`))
		}
		switch { // the passphrase, which a person types
		case slices.Contains(args, "-aes256"):
			args = append(args, "-pass", "pass:quarry")
		case slices.Contains(args, "ca.key"):
			args = append(args, "-passin", "pass:quarry")
		}
		cmd := exec.CommandContext(t.Context(), openssl, args...)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s\n%s", command, out)
		return string(out)
	}
	var commands []string
	for _, m := range regexp.MustCompile("`(openssl [^`]*)`").FindAllStringSubmatch(part, -1) {
		commands = append(commands, m[1])
		run(m[1])
	}
	require.Len(t, commands, 8)
	require.Contains(t, part, "`web_config_file: /etc/bayward/web.yaml`")
	installed := regexp.MustCompile("`sudo install (-m 640) -g bayward (shed-2.crt shed-2.key) /etc/bayward/`").FindStringSubmatch(part)
	require.NotNil(t, installed)
	install := func() { // by the user of the test, who has no such group
		cmd := exec.CommandContext(t.Context(), "install", strings.Fields(installed[1]+" "+installed[2]+" "+etc)...)
		cmd.Dir = dir
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, string(out))
	}
	install()
	info, err := os.Stat(filepath.Join(etc, "shed-2.key"))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o640), info.Mode().Perm())
	require.Contains(t, run("openssl x509 -in shed-2.crt -noout -enddate"), "notAfter=")

	roots := x509.NewCertPool()
	ca := readCertificate(t, filepath.Join(dir, "ca.crt"))
	roots.AddCert(ca)
	require.True(t, ca.IsCA && ca.MaxPathLenZero && ca.PermittedDNSDomainsCritical)
	require.Equal(t, []string{"local"}, ca.PermittedDNSDomains)
	leaf := readCertificate(t, filepath.Join(dir, "shed-2.crt"))
	// Baseline Requirements for TLS server certificates, section 6.3.2: at most 398 days.
	require.LessOrEqual(t, leaf.NotAfter.Sub(leaf.NotBefore), 398*24*time.Hour)

	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	quiet := slog.New(slog.DiscardHandler)
	go func() {
		ended <- web.Serve(ctx, l, web.Server(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "ok") }), quiet), config, quiet)
	}()
	serial := func(name string, trusted *x509.CertPool) (string, error) {
		c, err := (&tls.Dialer{Config: &tls.Config{ServerName: name, RootCAs: trusted, MinVersion: tls.VersionTLS12}}).DialContext(ctx, "tcp", l.Addr().String())
		if err != nil {
			return "", err
		}
		defer func() { _ = c.Close() }()
		return c.(*tls.Conn).ConnectionState().PeerCertificates[0].SerialNumber.String(), nil
	}
	first, err := serial("shed-2.local", roots)
	require.NoError(t, err)
	_, err = serial("192.168.7.20", roots)
	require.NoError(t, err)
	_, err = serial("shed-3.local", roots)
	require.Error(t, err, "another name")
	_, err = serial("shed-2.local", x509.NewCertPool())
	require.Error(t, err, "a phone that does not trust the CA")

	for _, command := range []string{commands[4], commands[5]} { // asked for and signed again
		run(command)
	}
	install()
	second, err := serial("shed-2.local", roots)
	require.NoError(t, err)
	require.NotEqual(t, first, second, "the renewed certificate is served")
	cancel()
	require.NoError(t, <-ended)
}

func readCertificate(t *testing.T, path string) *x509.Certificate {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	block, _ := pem.Decode(data)
	require.NotNil(t, block, path)
	c, err := x509.ParseCertificate(block.Bytes)
	require.NoError(t, err)
	return c
}
