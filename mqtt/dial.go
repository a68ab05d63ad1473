package mqtt

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"sync"
	"syscall"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

const (
	pingWithin   = 10 * time.Second
	quiesceMS    = 250
	maxSecretLen = 4096 // bytes of a password file
)

// wire is a peer that uses the library's client.
type wire struct {
	client paho.Client
	lost   chan struct{}

	mu   sync.Mutex // guards the fields below
	conn net.Conn
	dead bool  // cut, perhaps before there was a connection
	why  error // set before lost is closed
}

// dial makes one connection and waits until the broker has accepted it.
func dial(ctx context.Context, o *Options, broker *url.URL, writeWithin time.Duration, will []byte) (peer, error) {
	secret, err := readSecret(o.PasswordFile)
	if err != nil {
		return nil, err
	}
	trust, err := trusted(broker, o)
	if err != nil {
		return nil, err
	}
	w := &wire{lost: make(chan struct{})}
	open := func(u *url.URL, _ paho.ClientOptions) (net.Conn, error) { return w.open(ctx, u, trust) }
	w.client = paho.NewClient(settings(o, will).SetWriteTimeout(writeWithin).
		AddBroker(broker.String()).SetUsername(o.Username).SetPassword(secret).
		SetConnectionLostHandler(func(_ paho.Client, err error) { w.noteLoss(err) }).
		SetCustomOpenConnectionFn(open))
	tok := w.client.Connect()
	select {
	case <-tok.Done():
		err = tok.Error()
	case <-ctx.Done():
		err = errors.New("broker does not answer")
	}
	if err != nil {
		w.abort()
		return nil, explain(err, o.Now().Trusted)
	}
	return w, nil
}

// settings make the library reliable: without reconnection and session, a token
// that ends without an error means that the broker has acknowledged.
func settings(o *Options, will []byte) *paho.ClientOptions {
	return paho.NewClientOptions().
		SetClientID(o.ClientID).
		SetProtocolVersion(4). // 3.1.1, without a second try as 3.1
		SetCleanSession(true).SetAutoReconnect(false).SetConnectRetry(false).
		SetConnectTimeout(dialFor).
		SetKeepAlive(o.KeepAlive).SetPingTimeout(pingWithin).
		SetOrderMatters(true). // commands stay in order; their handler never waits
		SetMaxResumePubInFlight(o.MaxInFlight).
		SetStore(paho.NewOrderedMemoryStore()).
		SetDefaultPublishHandler(func(paho.Client, paho.Message) {}).
		SetBinaryWill(o.Topics.Status(), will, o.QoS.Status, true)
}

// open makes the connection below MQTT. Go's TCP connections send at once
// (TCP_NODELAY); otherwise a QoS 1 round trip would wait about 40 ms for TCP's
// delayed acknowledgement.
func (w *wire) open(ctx context.Context, u *url.URL, trust *tls.Config) (net.Conn, error) {
	var conn net.Conn
	var err error
	dialer := &net.Dialer{}
	switch u.Scheme {
	case "tcp":
		conn, err = dialer.DialContext(ctx, "tcp", u.Host)
	case "ssl":
		conn, err = (&tls.Dialer{NetDialer: dialer, Config: trust}).DialContext(ctx, "tcp", u.Host)
	default:
		conn, err = paho.NewWebsocket(u.String(), trust, dialFor, nil, nil)
	}
	if err != nil {
		return nil, err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.dead { // no caller waits for it any more
		return nil, errors.Join(net.ErrClosed, conn.Close())
	}
	w.conn = conn
	return newGuard(conn), nil
}

func (w *wire) publish(m message) token {
	return w.client.Publish(m.topic, m.qos, m.retained, m.payload)
}

// refused is the return code for a subscription that the broker does not grant:
// MQTT 3.1.1, section 3.9.3.
const refused = 0x80

func (w *wire) subscribe(filter string, qos byte, take func(string, inbound)) (token, func() bool) {
	tok := w.client.Subscribe(filter, qos, func(_ paho.Client, m paho.Message) {
		take(m.Topic(), inbound{m.Payload(), m.Retained()})
	})
	return tok, func() bool {
		s, ok := tok.(*paho.SubscribeToken)
		return ok && s.Result()[filter] != refused
	}
}

func (w *wire) gone() <-chan struct{} { return w.lost }
func (w *wire) leave()                { w.client.Disconnect(quiesceMS) }

func (w *wire) cause() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.why
}

// noteLoss is called by the library, once.
func (w *wire) noteLoss(err error) {
	w.mu.Lock()
	w.why = fmt.Errorf("connection to the broker lost: %w", err)
	w.mu.Unlock()
	close(w.lost)
}

// abort cuts the wire and then makes the library clean up. The library does not
// notice by itself: it takes a wire closed on this side as its own doing, and
// would continue until its next ping.
func (w *wire) abort() {
	w.cut()
	w.client.Disconnect(0)
}

func (w *wire) cut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.dead = true
	if w.conn != nil {
		_ = w.conn.Close() // it is given up anyway
	}
}

// trusted returns the TLS configuration of a connection, nil for a plain one. It
// reads the files each time, so that new certificates need no restart.
func trusted(broker *url.URL, o *Options) (*tls.Config, error) {
	if broker.Scheme != "ssl" && broker.Scheme != "wss" {
		return nil, nil //nolint:nilnil // plain
	}
	c := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: broker.Hostname()}
	if o.CertFile != "" {
		pair, err := tls.LoadX509KeyPair(o.CertFile, o.KeyFile)
		if err != nil {
			return nil, fmt.Errorf("read the client certificate: %w", err)
		}
		c.Certificates = []tls.Certificate{pair}
	}
	if o.CAFile == "" {
		return c, nil
	}
	pem, err := os.ReadFile(o.CAFile)
	if err != nil {
		return nil, fmt.Errorf("read the broker's authority: %w", err)
	}
	c.RootCAs = x509.NewCertPool()
	if !c.RootCAs.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("read the broker's authority: %s contains no PEM certificate", o.CAFile)
	}
	return c, nil
}

// readSecret reads a password, without its line ending.
func readSecret(path string) (string, error) {
	if path == "" {
		return "", nil
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("read the password: %w", err)
	}
	b = bytes.TrimRight(b, "\r\n")
	if len(b) == 0 || len(b) > maxSecretLen {
		return "", fmt.Errorf("read the password: %s has %d bytes: want 1 to %d", path, len(b), maxSecretLen)
	}
	return string(b), nil
}

// explain adds what to do about refusals that a person can fix. A Pi has no
// battery-backed clock: until it is set, every certificate may look not yet valid
// or expired.
func explain(err error, clockTrusted bool) error {
	if bad, ok := errors.AsType[x509.CertificateInvalidError](err); ok && bad.Reason == x509.Expired {
		if !clockTrusted {
			return fmt.Errorf("%w: the clock of this machine has not been set since it booted; if that is the cause, the connection will work once the time is set: check the time source", err)
		}
		return fmt.Errorf("%w (if the clock of this machine is wrong, the connection will work once the time is set)", err)
	}
	if _, ok := errors.AsType[x509.UnknownAuthorityError](err); ok {
		return fmt.Errorf("%w: set ca_file to the authority that signed the broker's certificate", err)
	}
	if _, ok := errors.AsType[x509.HostnameError](err); ok {
		return fmt.Errorf("%w: the broker's address must be one that is in its certificate", err)
	}
	if far, ok := errors.AsType[*net.OpError](err); ok && far.Op == "remote error" { // a TLS alert
		return fmt.Errorf("%w: the broker does not accept our certificate or our version of TLS: check cert_file, key_file and the broker's log", err)
	}
	switch {
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword), errors.Is(err, packets.ErrorRefusedNotAuthorised):
		return fmt.Errorf("%w: the broker does not accept this user, password or certificate", err)
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return fmt.Errorf("%w: the broker does not accept this client_id", err)
	case errors.Is(err, syscall.ECONNRESET), errors.Is(err, syscall.EPIPE), errors.Is(err, io.EOF):
		return fmt.Errorf("%w: the broker closed the connection: it may require TLS (ssl://) or a client certificate (cert_file), or reject this one; check its log", err)
	}
	return err
}
