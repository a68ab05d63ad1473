package check_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bayward/agent/check"
	"bayward/agent/config"
	"bayward/agent/words"
)

// certificate writes one that ends then.
func certificate(t *testing.T, ends time.Time) (path string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: ends}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	path = filepath.Join(t.TempDir(), "cert.pem")
	if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestEndingCertificates: a month before its end a certificate is named with its day, and
// after it as what it is. One that is good, or no certificate at all, is not.
func TestEndingCertificates(t *testing.T) {
	ends := time.Date(2031, 3, 15, 12, 0, 0, 0, time.UTC)
	path := certificate(t, ends)
	cfg := &config.Config{MQTT: &config.MQTT{CertFile: path, CAFile: filepath.Join(t.TempDir(), "missing.pem")}}
	for _, x := range []struct {
		now  time.Time
		says string
	}{
		{ends.AddDate(0, 0, -31), ""},
		{ends.AddDate(0, 0, -29), "ends on 2031-03-15"},
		{ends.AddDate(0, 0, -1), "ends on 2031-03-15"},
		{ends.AddDate(0, 0, 1), "ended on 2031-03-15"},
	} {
		found := check.EndingCertificates(cfg, words.New(words.English, ""), x.now)
		switch {
		case x.says == "" && len(found) == 0:
		case len(found) != 1 || found[0].Field != "mqtt.cert_file" || !strings.Contains(found[0].Says, path) || !strings.Contains(found[0].Says, x.says) || x.says == "":
			t.Errorf("%v: %+v, want %q", x.now, found, x.says)
		}
	}
}
