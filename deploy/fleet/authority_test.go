package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// verifies asks openssl whether a certificate is good for a use at a time.
func verifies(t *testing.T, authority, cert, purpose string, at time.Time, more ...string) error {
	t.Helper()
	args := append([]string{"verify", "-x509_strict", "-CAfile", authority, "-purpose", purpose, "-attime", strconv.FormatInt(at.Unix(), 10)}, more...)
	out, err := exec.CommandContext(t.Context(), needProgram(t, "openssl"), append(args, cert)...).CombinedOutput()
	if err != nil {
		t.Logf("%s", out)
	}
	return err
}

// TestCertificatesAreGood: another implementation takes each for its use and its name,
// and for no other.
func TestCertificatesAreGood(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	pages, machines := filepath.Join(out, "authority/pages.pem"), filepath.Join(out, "authority/machines.pem")
	pi := filepath.Join(out, "pis/quarry-road/shed-2/etc/bayward")
	broker := filepath.Join(out, "servers/broker/etc/mosquitto/bayward")
	soon := began.Add(time.Hour)

	require.NoError(t, verifies(t, pages, pi+"/page.pem", "sslserver", soon, "-verify_hostname", "shed-2.quarry.example"))
	require.NoError(t, verifies(t, machines, pi+"/mqtt.pem", "sslclient", soon))
	require.NoError(t, verifies(t, machines, broker+"/broker.pem", "sslserver", soon, "-verify_hostname", "broker.quarry.example"))
	require.NoError(t, verifies(t, machines, broker+"/broker.pem", "sslserver", soon, "-verify_ip", "192.0.2.7"))
	require.NoError(t, verifies(t, machines, filepath.Join(out, "clients/display/display.pem"), "sslclient", soon))
	require.NoError(t, verifies(t, broker+"/ca.pem", pi+"/mqtt.pem", "sslclient", soon))
	require.NoError(t, verifies(t, pi+"/broker-ca.pem", broker+"/broker.pem", "sslserver", soon))

	assert.Error(t, verifies(t, pages, pi+"/page.pem", "sslserver", soon, "-verify_hostname", "shed-3.quarry.example"), "another page's name")
	assert.Error(t, verifies(t, pages, pi+"/mqtt.pem", "sslclient", soon), "the phones' authority is not the machines'")
	assert.Error(t, verifies(t, machines, pi+"/mqtt.pem", "sslserver", soon), "a client is no server")
	assert.Error(t, verifies(t, machines, broker+"/broker.pem", "sslclient", soon), "a server is no client")
	assert.Contains(t, tool(t, "openssl", "x509", "-in", pi+"/mqtt.pem", "-noout", "-subject"), "CN = shed-2.quarry-road")
	for _, cert := range []string{pi + "/page", pi + "/mqtt", broker + "/broker"} {
		public := tool(t, "openssl", "pkey", "-in", cert+"-key.pem", "-pubout")
		assert.Equal(t, public, tool(t, "openssl", "x509", "-in", cert+".pem", "-noout", "-pubkey"), "the key of %s", cert)
	}
}

// TestAStolenKeySignsNobodyElse: what the pages' authority signs for another name is
// refused by others. Its key is used as a thief would.
func TestAStolenKeySignsNobodyElse(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	pages := filepath.Join(out, "authority/pages")
	for name, good := range map[string]bool{
		"DNS:forged.quarry.example": true, // what the limit allows
		"DNS:bank.example":          false,
		"IP:192.0.2.1":              false, // the example has no network
	} {
		folder := t.TempDir()
		csr, ext, cert := filepath.Join(folder, "csr"), filepath.Join(folder, "ext"), filepath.Join(folder, "cert")
		tool(t, "openssl", "req", "-new", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout", filepath.Join(folder, "key"), "-subj", "/CN=forged page", "-out", csr)
		require.NoError(t, os.WriteFile(ext, []byte("basicConstraints=critical,CA:FALSE\nkeyUsage=critical,digitalSignature\nextendedKeyUsage=serverAuth\nsubjectKeyIdentifier=hash\nauthorityKeyIdentifier=keyid\nsubjectAltName="+name+"\n"), 0o600))
		tool(t, "openssl", "x509", "-req", "-in", csr, "-CA", pages+".pem", "-CAkey", pages+"-key.pem", "-set_serial", "1", "-days", "30", "-extfile", ext, "-out", cert)
		err := verifies(t, pages+".pem", cert, "sslserver", time.Now().Add(time.Hour))
		assert.Equal(t, good, err == nil, name)
	}
}

// TestRenewal: a certificate is made again so many days before its end and not before;
// its key stays, and everything else too.
func TestRenewal(t *testing.T) {
	const lasts, renew = 397, 60 // days, from the documents
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	first := tree(t, out)

	said := runs(t, example, out, began.AddDate(0, 0, lasts-renew-2))
	assert.NotContains(t, said, "made")
	require.Equal(t, first, tree(t, out))

	now := began.AddDate(0, 0, lasts-renew)
	said = runs(t, example, out, now)
	assert.Equal(t, 3, strings.Count(said, "made"), said)
	second := tree(t, out)
	for name, data := range first {
		switch {
		case strings.HasSuffix(name, "/page.pem"):
			assert.NotEqual(t, data, second[name], name)
			require.NoError(t, verifies(t, filepath.Join(out, "authority/pages.pem"), filepath.Join(out, name), "sslserver", now.AddDate(0, 0, lasts-2)))
		case name != listFile && !strings.HasSuffix(name, "/user-data"): // which has the page's certificate, too
			assert.Equal(t, data, second[name], name)
		}
	}
}

// TestTheAuthorityIsRenewed: before it ends, and with its old key, so that whoever has
// the old certificate goes on trusting what is signed by the new one, and the other way
// round.
func TestTheAuthorityIsRenewed(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	old := filepath.Join(t.TempDir(), "old.pem")
	require.NoError(t, os.WriteFile(old, []byte(tree(t, out)["authority/machines.pem"]), 0o600))
	client := "clients/display/display.pem"
	before := filepath.Join(t.TempDir(), "display.pem")

	var now time.Time
	for month := 36; ; month++ { // one run a month
		require.Less(t, month, 120, "the authority has ended")
		require.NoError(t, os.WriteFile(before, []byte(tree(t, out)[client]), 0o600))
		now = began.AddDate(0, month, 0)
		runs(t, example, out, now)
		for name := range tree(t, out) {
			if strings.HasSuffix(name, "mqtt.pem") {
				require.NoError(t, verifies(t, filepath.Join(out, "authority/machines.pem"), filepath.Join(out, name), "sslclient", now))
			}
		}
		if tree(t, out)["authority/machines.pem"] != readAll(t, old) {
			break
		}
	}
	renewed := filepath.Join(out, "authority/machines.pem")
	require.NoError(t, verifies(t, old, filepath.Join(out, client), "sslclient", now), "who has the old authority")
	require.NoError(t, verifies(t, renewed, before, "sslclient", now), "what the old one has signed")
}

func readAll(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(data)
}

// TestANewNameIsANewCertificate: a page that moves gets a certificate for its new name;
// a key that is deleted is made again, with its certificate.
func TestANewNameIsANewCertificate(t *testing.T) {
	out := filepath.Join(t.TempDir(), "out")
	runs(t, example, out, began)
	first := tree(t, out)
	moved := changed(t, "host: hut.hill.quarry.example", "host: cabin.quarry.example")
	runs(t, moved, out, began)
	page := filepath.Join(out, "pis/hill/hut/etc/bayward/page.pem")
	require.NoError(t, verifies(t, filepath.Join(out, "authority/pages.pem"), page, "sslserver", began, "-verify_hostname", "cabin.quarry.example"))

	lost := "clients/display/display-key.pem"
	require.NoError(t, os.Remove(filepath.Join(out, lost)))
	runs(t, moved, out, began)
	now := tree(t, out)
	assert.NotEqual(t, first[lost], now[lost])
	assert.NotEqual(t, first["clients/display/display.pem"], now["clients/display/display.pem"])
	assert.Equal(t, first["clients/maintenance/maintenance-key.pem"], now["clients/maintenance/maintenance-key.pem"])
}
