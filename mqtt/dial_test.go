package mqtt

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	mochipackets "github.com/mochi-mqtt/server/v2/packets"
	"go.uber.org/goleak"
)

// connectOnce makes one connection as the client would, and ends it.
func connectOnce(t *testing.T, o Options, within time.Duration) error {
	t.Helper()
	o.Topics, o.Outbox, o.Log = testTopics, newOutbox(), quiet()
	u, err := o.complete()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), within)
	defer cancel()
	p, err := dial(ctx, &o, u[0], writeFor, []byte("{}"))
	if err == nil {
		p.leave()
	}
	return err
}

func TestPasswordIsReadEachTime(t *testing.T) {
	passwd := needProgram(t, "mosquitto_passwd")
	dir := t.TempDir()
	users, file := filepath.Join(dir, "users"), filepath.Join(dir, "password")
	if out, err := exec.CommandContext(t.Context(), passwd, "-b", "-c", users, "shed", "right secret").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	b := startMosquitto(t, "allow_anonymous false", "password_file "+users)
	o := Options{Brokers: []string{"tcp://" + b.addr()}, Username: "shed", PasswordFile: file}

	if err := connectOnce(t, o, patience); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("without the file: %v", err)
	}
	for _, c := range []struct {
		secret string
		good   bool
	}{{"wrong secret\n", false}, {"right secret\n", true}, {"", false}, {"right secret", true}, {"right secret\r\n", true}} {
		if err := os.WriteFile(file, []byte(c.secret), 0o600); err != nil {
			t.Fatal(err)
		}
		err := connectOnce(t, o, patience)
		if (err == nil) != c.good {
			t.Errorf("password %q: %v", c.secret, err)
		}
		if err != nil && strings.Contains(err.Error(), "secret") {
			t.Errorf("the message shows the password: %v", err)
		}
	}
	if err := connectOnce(t, Options{Brokers: []string{"tcp://" + b.addr()}}, patience); err == nil {
		t.Error("the broker accepted a client without a password: the test is broken")
	}
}

// authority is a certificate authority for tests.
type authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	file string // PEM
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{file: filepath.Join(t.TempDir(), "ca.pem")}
	a.cert, a.key = issue(t, nil, &x509.Certificate{
		Subject: pkix.Name{CommonName: "test authority"}, NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	})
	writePEM(t, a.file, "CERTIFICATE", a.cert.Raw)
	return a
}

// server issues a certificate for 127.0.0.1 and returns its files.
func (a *authority) server(t *testing.T, notAfter time.Time) (certFile, keyFile string) {
	t.Helper()
	cert, key := issue(t, a, &x509.Certificate{
		Subject: pkix.Name{CommonName: "broker"}, NotAfter: notAfter, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
	})
	dir := t.TempDir()
	certFile, keyFile = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	writePEM(t, certFile, "CERTIFICATE", cert.Raw)
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	writePEM(t, keyFile, "PRIVATE KEY", der)
	return certFile, keyFile
}

func issue(t *testing.T, by *authority, c *x509.Certificate) (*x509.Certificate, *ecdsa.PrivateKey) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c.SerialNumber, c.NotBefore = big.NewInt(time.Now().UnixNano()), time.Now().Add(-48*time.Hour)
	if by == nil {
		by = &authority{c, key, ""}
	}
	der, err := x509.CreateCertificate(rand.Reader, c, by.cert, &key.PublicKey, by.key)
	if err != nil {
		t.Fatal(err)
	}
	cert, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return cert, key
}

func writePEM(t *testing.T, file, kind string, der []byte) {
	t.Helper()
	if err := os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestTLSWithOwnAuthority(t *testing.T) {
	a, other := newAuthority(t), newAuthority(t)
	cert, key := a.server(t, time.Now().Add(time.Hour))
	b := startMosquitto(t, "allow_anonymous true", "certfile "+cert, "keyfile "+key)
	url := "ssl://" + b.addr()
	if err := connectOnce(t, Options{Brokers: []string{url}, CAFile: a.file}, patience); err != nil {
		t.Error(err)
	}
	for name, o := range map[string]Options{
		"another authority": {Brokers: []string{url}, CAFile: other.file},
		"system's roots":    {Brokers: []string{url}},
		"no such file":      {Brokers: []string{url}, CAFile: a.file + "x"},
		"no certificate":    {Brokers: []string{url}, CAFile: key},
		"without TLS":       {Brokers: []string{"tcp://" + b.addr()}},
		"another host name": {Brokers: []string{strings.Replace(url, "127.0.0.1", "localhost", 1)}, CAFile: a.file},
	} {
		if err := connectOnce(t, o, patience); err == nil {
			t.Errorf("%s: connected", name)
		}
	}
}

// letIn allows every client everything.
type letIn struct{ mochi.HookBase }

func (letIn) Provides(q byte) bool {
	return q == mochi.OnConnectAuthenticate || q == mochi.OnACLCheck
}
func (letIn) OnConnectAuthenticate(*mochi.Client, mochipackets.Packet) bool { return true }
func (letIn) OnACLCheck(*mochi.Client, string, bool) bool                   { return true }

// The library's broker has a WebSocket listener; the one in the program has none.
func TestWebSocket(t *testing.T) {
	a := newAuthority(t)
	pair, err := tls.LoadX509KeyPair(a.server(t, time.Now().Add(time.Hour)))
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(a.cert)
	for scheme, trust := range map[string]*tls.Config{
		"ws":  nil,
		"wss": {Certificates: []tls.Certificate{pair}, ClientAuth: tls.RequireAndVerifyClientCert, ClientCAs: pool, MinVersion: tls.VersionTLS12},
	} {
		t.Run(scheme, func(t *testing.T) { webSocket(t, a, scheme, trust) })
	}
}

func webSocket(t *testing.T, a *authority, scheme string, trust *tls.Config) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	at := l.Addr().String()
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	server := mochi.New(&mochi.Options{Logger: quiet()})
	err = errors.Join(server.AddHook(new(letIn), nil),
		server.AddListener(listeners.NewWebsocket(listeners.Config{ID: "ws", Address: at, TLSConfig: trust})), server.Serve())
	if err != nil {
		t.Fatal(err)
	}
	defer server.Close()
	cert, key := a.server(t, time.Now().Add(time.Hour)) // also valid for a client
	o := newOutbox()
	o.add("bay-1", 20)
	stop := runClient(t, newClient(t, Options{
		Brokers: []string{scheme + "://" + at + "/mqtt"}, CAFile: a.file, CertFile: cert, KeyFile: key, Outbox: o,
	}))
	o.awaitCursor("bay-1", 20)
	stop()
}

// tlsServer makes TLS handshakes and nothing more.
func tlsServer(t *testing.T, c *tls.Config) (addr string) {
	t.Helper()
	l, err := tls.Listen("tcp", "127.0.0.1:0", c)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			_ = conn.(*tls.Conn).Handshake()
			_ = conn.Close()
		}
	}()
	t.Cleanup(func() { _ = l.Close(); <-done })
	return l.Addr().String()
}

func TestTLSRefusals(t *testing.T) {
	a := newAuthority(t)
	pair := func(notAfter time.Time) []tls.Certificate {
		p, err := tls.LoadX509KeyPair(a.server(t, notAfter))
		if err != nil {
			t.Fatal(err)
		}
		return []tls.Certificate{p}
	}
	old := &tls.Config{Certificates: pair(time.Now().Add(time.Hour)), MinVersion: tls.VersionTLS10, MaxVersion: tls.VersionTLS11}
	expired := &tls.Config{Certificates: pair(time.Now().Add(-24 * time.Hour))}
	for _, c := range []struct {
		server *tls.Config
		clock  bool
		says   string
	}{
		{old, true, "protocol version"},
		{expired, true, "if the clock of this machine is wrong"},
		{expired, false, "the clock of this machine has not been set"},
	} {
		now := func() Wall { return Wall{time.Now(), c.clock} }
		err := connectOnce(t, Options{Brokers: []string{"ssl://" + tlsServer(t, c.server)}, CAFile: a.file, Now: now}, patience)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("got %v, want %q in it", err, c.says)
		}
	}
}

// The client gives up a machine that accepts the connection and sends nothing.
func TestSilentBroker(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0") // the kernel accepts, nothing reads
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	err = connectOnce(t, Options{Brokers: []string{"tcp://" + l.Addr().String()}}, 50*time.Millisecond)
	if err == nil || !strings.Contains(err.Error(), "does not answer") {
		t.Errorf("got %v", err)
	}
}

// An aborted connection leaves nothing behind, and the broker sends the will.
func TestAbort(t *testing.T) {
	b := &embedded{}
	b.start(t)
	defer b.kill(t)
	got := read(t, b.addr(), "#")
	here := goleak.IgnoreCurrent()
	o := Options{Topics: testTopics, Outbox: newOutbox(), Log: quiet(), Brokers: []string{"tcp://" + b.addr()}}
	u, err := o.complete()
	if err != nil {
		t.Fatal(err)
	}
	p, err := dial(t.Context(), &o, u[0], writeFor, []byte("the will"))
	if err != nil {
		t.Fatal(err)
	}
	p.abort()
	for m := range got {
		if m.topic == testTopics.Status() && string(m.payload) == "the will" {
			break
		}
	}
	goleak.VerifyNone(t, here)
}

// With delayed packets each QoS 1 round trip takes about 40 ms.
func TestPacketsAreNotDelayed(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	w := &wire{lost: make(chan struct{})}
	u, err := parseBroker("tcp://" + l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	conn, err := w.open(t.Context(), u, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	raw, err := conn.(*guard).Conn.(*net.TCPConn).SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	var on int
	err = errors.Join(raw.Control(func(fd uintptr) {
		on, err = syscall.GetsockoptInt(int(fd), syscall.IPPROTO_TCP, syscall.TCP_NODELAY)
	}), err)
	if on != 1 || err != nil {
		t.Errorf("TCP_NODELAY is %d, %v", on, err)
	}
}

// The settings with which a token without an error means an acknowledgement.
func TestLibrarySettings(t *testing.T) {
	o := Options{ClientID: "id", Topics: testTopics}
	o.fillIn()
	c := paho.NewClient(settings(&o, []byte("will")))
	r := c.OptionsReader()
	for name, wrong := range map[string]bool{
		"auto reconnect":   r.AutoReconnect(),
		"connect retry":    r.ConnectRetry(),
		"session kept":     !r.CleanSession(),
		"order lost":       !r.Order(),
		"protocol version": r.ProtocolVersion() != 4,
		"will":             !r.WillEnabled() || !r.WillRetained() || r.WillQos() != 1 || r.WillTopic() != testTopics.Status(),
		"keep alive":       r.KeepAlive() != 30*time.Second,
		"ping":             r.PingTimeout() != 10*time.Second,
		"connect":          r.ConnectTimeout() != 10*time.Second,
	} {
		if wrong {
			t.Errorf("%s has the wrong setting", name)
		}
	}
}
