package notify_test

import (
	"bytes"
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"bayward/agent/notify"
)

// Secrets of a webhook, each in another place. One needs escaping in most places.
const (
	inPath   = "T0K3N/in+path"
	inQuery  = "t0k3n&in query"
	inHeader = "t0k3n-in-header"
	inUser   = "t0k3nuser"
	inPass   = "pässw0rd"
)

// revealed returns what a text shows of the secrets, "" for nothing.
func revealed(text string) string {
	for _, s := range []string{inPath, inQuery, inHeader, inUser, inPass, "T0K3N", "t0k3n", "ssw0rd"} {
		for _, form := range []string{s, url.PathEscape(s), url.QueryEscape(s), base64.StdEncoding.EncodeToString([]byte(s))} {
			if strings.Contains(text, form) {
				return form
			}
		}
	}
	return ""
}

// secretly returns a webhook with a secret in each place.
func secretly(t *testing.T, server string) notify.Way {
	t.Helper()
	host := strings.TrimPrefix(server, "http://")
	address := fmt.Sprintf("http://%s:%s@%s/hooks/%s/send?key=%s&to=yard", inUser, url.PathEscape(inPass), host, url.PathEscape(inPath), url.QueryEscape(inQuery))
	w, err := notify.NewWebhook(notify.WebhookOptions{
		Name: "yard-push", URL: address, Method: "POST", Headers: []notify.HeaderOptions{{Name: "Authorization", ValueFile: secret(t, "Bearer "+inHeader)}},
	})
	require.NoError(t, err)
	return w
}

// raw is a server that answers with any bytes.
func raw(t *testing.T, answer func(request string) string) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	var all sync.WaitGroup
	all.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			buffer := make([]byte, 8<<10)
			n, _ := c.Read(buffer)
			_, _ = io.WriteString(c, answer(string(buffer[:n])))
			_ = c.Close()
		}
	})
	t.Cleanup(func() { _ = l.Close(); all.Wait() })
	return "http://" + l.Addr().String()
}

// TestSecretsOfAWebhookStayHidden: whatever fails, and whatever a server repeats.
func TestSecretsOfAWebhookStayHidden(t *testing.T) {
	echo := func(status int) string {
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Location", r.URL.String())
			w.WriteHeader(status)
			user, password, _ := r.BasicAuth()
			for _, text := range []string{r.URL.String(), r.URL.Path, r.RequestURI, r.URL.Query().Get("key"), r.Header.Get("Authorization"), user, password} {
				_, _ = fmt.Fprintf(w, "no such hook: %s %q %s\n", text, text, base64.StdEncoding.EncodeToString([]byte(text)))
			}
		}))
		t.Cleanup(s.Close)
		return s.URL
	}
	for name, server := range map[string]string{
		"nobody there": "http://127.0.0.1:1", "no such host": "http://yard.invalid", "refuses": echo(403), "fails": echo(500), "sends elsewhere": echo(307),
		"no HTTP":       raw(t, func(request string) string { return request }),
		"strange words": raw(t, func(request string) string { return "HTTP/1.1 500 " + strings.Fields(request)[1] + "\r\n\r\n" }),
		"half a secret": raw(t, func(string) string {
			return "HTTP/1.1 500 No\r\n\r\n" + strings.Repeat("T0K3N/in+path ", 292) + "T0K3N/in"
		}),
		"bad header":  raw(t, func(request string) string { return "HTTP/1.1 200 OK\r\n" + strings.Fields(request)[1] + "\r\n\r\n" }),
		"cut off":     raw(t, func(string) string { return "" }),
		"long header": raw(t, func(string) string { return "HTTP/1.1 200 OK\r\nA: " + strings.Repeat("x", 1<<20) }),
	} {
		t.Run(name, func(t *testing.T) {
			err := send(t, secretly(t, server), &water)
			require.Error(t, err)
			require.Empty(t, revealed(err.Error()), err.Error())
			require.Empty(t, revealed(fmt.Sprintf("%+v %#v", err, err)))
			require.Less(t, len(err.Error()), 2200)
			require.Contains(t, err.Error(), "yard-push")
			require.Equal(t, name == "refuses", strings.Contains(err.Error(), notify.ErrRefused.Error()))
		})
	}
}

// TestSecretsOfAMailServerStayHidden: a server that repeats the password.
func TestSecretsOfAMailServerStayHidden(t *testing.T) {
	config, ca := certificate(t)
	plain := base64.StdEncoding.EncodeToString([]byte("\x00shed\x00" + inPass))
	b := &box{user: "shed", password: inPass, refuse: &smtp.SMTPError{Code: 550, Message: "go away, " + inPass + " " + plain}}
	m, err := notify.NewMail(notify.MailOptions{
		Server: serveMail(t, b, config, true), Security: "tls", From: "shed-2@yard.example", To: []string{"a@yard.example"},
		Username: "shed", PasswordFile: secret(t, inPass), CAFile: ca,
	})
	require.NoError(t, err)
	err = send(t, m, &water)
	require.ErrorIs(t, err, notify.ErrRefused)
	require.Contains(t, err.Error(), "go away")
	require.Empty(t, revealed(err.Error()), err.Error())
	require.NotContains(t, err.Error(), plain)
}

// TestLogHasNoSecret: the sender's log, at its most talkative.
func TestLogHasNoSecret(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log bytes.Buffer
		way := secretly(t, "http://127.0.0.1:1")
		s := notify.NewSender(notify.Options{
			Ways: []notify.Way{way}, Wall: func() (time.Time, bool) { return time.Now(), true },
			Log: slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug})),
		})
		ctx, cancel := context.WithCancel(t.Context())
		var all sync.WaitGroup
		all.Go(func() { _ = s.Run(ctx) })
		s.Offer(&water)
		time.Sleep(time.Minute) // of the bubble's clock
		cancel()
		all.Wait()
		require.Contains(t, log.String(), "way=yard-push")
		require.Empty(t, revealed(log.String()), log.String())
		require.Empty(t, revealed(fmt.Sprint(s.Counts())))
	})
}

// TestATalkativeMailServer: it cannot fill the memory.
func TestATalkativeMailServer(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	sent := make(chan int, 1)
	go func() {
		c, err := l.Accept()
		if err != nil {
			return
		}
		defer c.Close()
		n, line := 0, strings.Repeat("x", 64<<10)
		for n < 64<<20 {
			k, err := io.WriteString(c, line)
			if n += k; err != nil {
				break
			}
		}
		sent <- n
	}()
	m, err := notify.NewMail(notify.MailOptions{Server: l.Addr().String(), Security: "none", From: "a@b.example", To: []string{"c@d.example"}})
	require.NoError(t, err)
	err = send(t, m, &water)
	require.ErrorContains(t, err, "says too much")
	require.Less(t, len(err.Error()), 2200)
	require.Less(t, <-sent, 16<<20, "the rest was not read")
}
