package notify_test

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"encoding/pem"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/mail"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"bayward/agent/notify"
)

var water = notify.Message{
	ID: "bay-1 ready-to-water", Site: "quarry-road", Agent: "shed-2", Bay: "bay-1", Kind: "ready-to-water", State: "raised",
	Title: "bay-1: lista para rellenar ✔", Text: `Each of 12 cells: 110 ml, "pure" water`, WhatToDo: "Open a visit.", Cautions: "Acid.",
	At: time.Date(2026, 3, 1, 4, 5, 6, 0, time.UTC), Trusted: true,
}

// box is a mail server's store. The server itself is an independent implementation
// of RFC 5321.
type box struct {
	mu       sync.Mutex // guards the fields below
	mails    []string
	to       []string
	user     string
	password string
	refuse   *smtp.SMTPError
}

func (b *box) NewSession(*smtp.Conn) (smtp.Session, error) { return &delivery{box: b}, nil }

type delivery struct {
	box    *box
	authed bool
	to     []string
}

func (d *delivery) AuthMechanisms() []string { return []string{sasl.Plain} }

func (d *delivery) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, username, password string) error {
		if username != d.box.user || password != d.box.password {
			return smtp.ErrAuthFailed
		}
		d.authed = true
		return nil
	}), nil
}

func (d *delivery) Mail(string, *smtp.MailOptions) error {
	if d.box.user != "" && !d.authed {
		return smtp.ErrAuthRequired
	}
	return nil
}

func (d *delivery) Rcpt(to string, _ *smtp.RcptOptions) error {
	if d.box.refuse != nil {
		return d.box.refuse
	}
	d.to = append(d.to, to)
	return nil
}

func (d *delivery) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	d.box.mu.Lock()
	defer d.box.mu.Unlock()
	d.box.mails, d.box.to = append(d.box.mails, string(text)), d.to
	return err
}

func (*delivery) Reset()        {}
func (*delivery) Logout() error { return nil }

// certificate returns one for 127.0.0.1, with its authority in a file.
func certificate(t *testing.T) (server *tls.Config, caFile string) {
	t.Helper()
	s := httptest.NewTLSServer(nil) // the standard library's own certificate for tests
	defer s.Close()
	caFile = filepath.Join(t.TempDir(), "ca.pem")
	block := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: s.Certificate().Raw})
	require.NoError(t, os.WriteFile(caFile, block, 0o600))
	return &tls.Config{Certificates: s.TLS.Certificates, MinVersion: tls.VersionTLS12}, caFile
}

func serveMail(t *testing.T, b *box, config *tls.Config, implicit bool) string {
	t.Helper()
	s := smtp.NewServer(b)
	s.Domain, s.TLSConfig, s.AllowInsecureAuth = "localhost", config, false
	s.ErrorLog = nullLog{}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	if implicit {
		l = tls.NewListener(l, config)
	}
	ended := make(chan struct{})
	go func() { defer close(ended); _ = s.Serve(l) }()
	t.Cleanup(func() { _ = s.Close(); <-ended })
	return l.Addr().String()
}

type nullLog struct{}

func (nullLog) Printf(string, ...any) {}
func (nullLog) Println(...any)        {}

func secret(t *testing.T, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(file, []byte(text+"\n"), 0o600))
	return file
}

func send(t *testing.T, w notify.Way, m *notify.Message) error {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	return w.Send(ctx, m)
}

// TestMailArrives: by STARTTLS with a password, by TLS from the first byte, and in
// the clear inside a trusted network; the message arrives unchanged.
func TestMailArrives(t *testing.T) {
	server, ca := certificate(t)
	for name, row := range map[string]struct {
		opt      notify.MailOptions
		implicit bool
		password string
	}{
		"starttls": {opt: notify.MailOptions{Security: "starttls", Username: "shed-2", CAFile: ca}, password: "a b:c"},
		"tls":      {opt: notify.MailOptions{Security: "tls", Username: "shed-2", CAFile: ca}, implicit: true, password: "x"},
		"none":     {opt: notify.MailOptions{Security: "none"}},
	} {
		t.Run(name, func(t *testing.T) {
			b := &box{user: row.opt.Username, password: row.password}
			config := server
			if name == "none" {
				config = nil
			}
			o := row.opt
			o.Server, o.From, o.To = serveMail(t, b, config, row.implicit), "shed-2@yard.example", []string{"one@yard.example", "two@yard.example"}
			if row.password != "" {
				o.PasswordFile = secret(t, row.password)
			}
			m, err := notify.NewMail(o)
			require.NoError(t, err)
			require.NoError(t, send(t, m, &water))
			require.Len(t, b.mails, 1)
			require.Equal(t, o.To, b.to)
			got, err := mail.ReadMessage(strings.NewReader(b.mails[0]))
			require.NoError(t, err)
			subject, err := new(mimeWords).DecodeHeader(got.Header.Get("Subject"))
			require.NoError(t, err)
			require.Equal(t, water.Title, subject)
			require.Equal(t, "quoted-printable", got.Header.Get("Content-Transfer-Encoding"))
			body := readQuoted(t, got.Body)
			require.Contains(t, body, water.Text)
			require.Contains(t, body, "quarry-road / shed-2")
		})
	}
}

// TestMailThatCannotGo: which errors are final and which are tried again.
func TestMailThatCannotGo(t *testing.T) {
	server, ca := certificate(t)
	open := func(t *testing.T, b *box, change func(*notify.MailOptions)) *notify.Mail {
		t.Helper()
		o := notify.MailOptions{
			Server: serveMail(t, b, server, false), Security: "starttls", From: "a@yard.example", To: []string{"b@yard.example"},
			Username: "u", PasswordFile: secret(t, "p"), CAFile: ca,
		}
		change(&o)
		m, err := notify.NewMail(o)
		require.NoError(t, err)
		return m
	}
	b := &box{user: "u", password: "p"}
	final := func(code int) error {
		b := &box{user: "u", password: "p", refuse: &smtp.SMTPError{Code: code, EnhancedCode: smtp.EnhancedCode{code / 100, 1, 1}, Message: "no"}}
		return send(t, open(t, b, func(*notify.MailOptions) {}), &water)
	}
	require.ErrorIs(t, final(550), notify.ErrRefused)
	greylisted := final(451)
	require.Error(t, greylisted)
	require.NotErrorIs(t, greylisted, notify.ErrRefused)
	for name, change := range map[string]func(*notify.MailOptions){
		"wrong password":    func(o *notify.MailOptions) { o.PasswordFile = secret(t, "q") },
		"no password file":  func(o *notify.MailOptions) { o.PasswordFile = "/nowhere" },
		"unknown authority": func(o *notify.MailOptions) { o.CAFile = "" },
		"no server at port": func(o *notify.MailOptions) { o.Server = "127.0.0.1:1" },
	} {
		err := send(t, open(t, b, change), &water)
		require.Error(t, err, name)
		require.NotErrorIs(t, err, notify.ErrRefused, name)
	}
	require.Empty(t, b.mails)
	// A server without STARTTLS gets no password in the clear.
	plain := &box{user: "u", password: "p"}
	m := open(t, plain, func(o *notify.MailOptions) { o.Server = serveMail(t, plain, nil, false) })
	require.Error(t, send(t, m, &water))
	require.Empty(t, plain.mails)
}

// TestWebhookFeedsForeignServers: headers and body of the target's own, a secret
// from a file, and JSON without a template.
func TestWebhookFeedsForeignServers(t *testing.T) {
	var got *http.Request
	var body string
	status := 200
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		data, _ := io.ReadAll(r.Body)
		got, body = r, string(data)
		w.Header().Set("Location", "http://127.0.0.1:1/")
		w.WriteHeader(status)
	}))
	defer s.Close()
	w, err := notify.NewWebhook(notify.WebhookOptions{
		Name: "push", URL: s.URL + "/yard", Method: "PUT", Body: `{"text": {{json .Text}}, "to": "yard"}`,
		Headers: []notify.HeaderOptions{
			{Name: "Title", Value: "{{.Bay}}\n {{.Kind}}"}, {Name: "Content-Type", Value: "application/json"}, {Name: "Authorization", ValueFile: secret(t, "Bearer x")},
		},
	})
	require.NoError(t, err)
	require.NoError(t, send(t, w, &water))
	require.Equal(t, "PUT", got.Method)
	require.Equal(t, "/yard", got.URL.Path)
	require.Equal(t, "bay-1 ready-to-water", got.Header.Get("Title"))
	require.Equal(t, "Bearer x", got.Header.Get("Authorization"))
	require.JSONEq(t, `{"text": "Each of 12 cells: 110 ml, \"pure\" water", "to": "yard"}`, body)

	plain, err := notify.NewWebhook(notify.WebhookOptions{Name: "plain", URL: s.URL, Method: "POST"})
	require.NoError(t, err)
	require.NoError(t, send(t, plain, &water))
	var sent map[string]any
	require.NoError(t, json.Unmarshal([]byte(body), &sent))
	require.Equal(t, "bay-1", sent["bay"])
	require.Equal(t, "2026-03-01T04:05:06Z", sent["at"])

	for code, final := range map[int]bool{400: true, 401: true, 404: true, 410: true, 408: false, 429: false, 500: false, 503: false, 302: false} {
		status = code
		err := send(t, plain, &water)
		require.Error(t, err, code)
		require.Equal(t, final, errors.Is(err, notify.ErrRefused), code)
	}
	s.Close()
	require.NotErrorIs(t, send(t, plain, &water), notify.ErrRefused, "a server that is down comes back")
}

func TestBadWebhooks(t *testing.T) {
	for _, o := range []notify.WebhookOptions{
		{Name: "a", Body: "{{.Text"}, {Name: "a", Headers: []notify.HeaderOptions{{Name: "X", Value: "{{"}}}, {Name: "a", CAFile: "/nowhere"},
	} {
		_, err := notify.NewWebhook(o)
		require.ErrorContains(t, err, "webhook a: ")
	}
	w, err := notify.NewWebhook(notify.WebhookOptions{Name: "a", URL: "http://127.0.0.1:1/", Method: "POST", Body: "{{.Nothing}}"})
	require.NoError(t, err)
	require.ErrorIs(t, send(t, w, &water), notify.ErrRefused)
}
