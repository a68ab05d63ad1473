package notify_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"bayward/agent/notify"
)

// scripted is a server that says the given bytes whatever it is told, and hangs up.
func scripted(t *testing.T, says []byte) notify.Dial {
	t.Helper()
	var all sync.WaitGroup
	t.Cleanup(all.Wait)
	return func(context.Context, string, string) (net.Conn, error) {
		near, far := net.Pipe()
		all.Go(func() { _, _ = io.Copy(io.Discard, far) })
		all.Go(func() {
			_, _ = far.Write(says)
			_ = far.Close()
		})
		return near, nil
	}
}

const whole = "Tk7Zq9secret" // one word: a server may say any part of it by chance

// judge checks an error of a way: bounded and on one line.
func judge(t *testing.T, err error) {
	t.Helper()
	if err == nil {
		return
	}
	text := err.Error()
	require.Less(t, len(text), 2400)
	require.NotContains(t, text, "\n")
	require.NotContains(t, text, "\x1b")
	require.NotContains(t, text, "panic")
}

// FuzzMailServer: whatever a mail server says, nothing panics or hangs, a message
// counts as delivered only if the server took it, and as refused only if it said so.
func FuzzMailServer(f *testing.F) {
	const good = "220 mail.example ESMTP\r\n250-mail.example\r\n250 8BITMIME\r\n250 ok\r\n250 ok\r\n354 go on\r\n250 taken\r\n250 ok\r\n221 bye\r\n"
	for _, seed := range []string{
		good, "220 a\r\n250-STARTTLS\r\n250 SIZE 10\r\n220 go on\r\n\x16\x03\x01", "220 a\r\n500 no\r\n250 a\r\n250 ok\r\n550 no such person " + whole + "\r\n250 ok\r\n221 bye\r\n",
		"421 busy\r\n", "220-a\r\n220 b\r\n250 SMTPUTF8\r\n451 later\r\n", "554 5.7.1 \x1b[31mno\r\n", "220 a", "25", "-1 a\r\n", "220 a\n250 b\n", "250-\r\n250-\r\n", "",
		strings.Replace(good, "250 taken", "552 5.3.4 too large", 1), strings.Replace(good, "354 go on", "250 what", 1),
	} {
		f.Add([]byte(seed), false)
		f.Add([]byte(seed), true)
	}
	taken, refused := regexp.MustCompile(`(?m)^354`), regexp.MustCompile(`(?m)^[+]?0*5[0-9][0-9]`)
	f.Fuzz(func(t *testing.T, says []byte, secure bool) {
		o := notify.MailOptions{Server: "mail.example:25", Security: "none", From: "shed-2@yard.example", To: []string{"one@yard.example"}}
		if secure {
			o.Security, o.Username, o.PasswordFile = "starttls", "shed", secret(t, whole)
		}
		m, err := notify.NewMail(o)
		require.NoError(t, err)
		m.Over(scripted(t, says))
		err = send(t, m, &water)
		if judge(t, err); err != nil && secure {
			require.NotContains(t, err.Error(), whole)
		}
		switch {
		case err == nil:
			require.False(t, secure, "there was no TLS")
			require.Regexp(t, taken, string(says))
		case errors.Is(err, notify.ErrRefused):
			require.Regexp(t, refused, string(says))
		}
	})
}

// FuzzWebhookAnswer: the same for the server of a webhook.
func FuzzWebhookAnswer(f *testing.F) {
	for _, seed := range []string{
		"HTTP/1.1 204 No Content\r\n\r\n", "HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\nok", "HTTP/1.1 403 Forbidden\r\n\r\nno hook at /" + whole, "HTTP/1.0 429 Slow\r\n\r\n",
		"HTTP/1.1 500 \x1b[31m\r\nContent-Type: text/plain\r\n\r\n" + strings.Repeat(whole, 400), "HTTP/1.1 302 Found\r\nLocation: http://127.0.0.1:1/" + whole + "\r\n\r\n",
		"HTTP/1.1 100 Continue\r\n\r\nHTTP/1.1 200 OK\r\n\r\n", "HTTP/1.1 101 Switching\r\nUpgrade: x\r\n\r\n", "HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nffffffffffffffff\r\n",
		"HTTP/1.1 500 No\r\nContent-Encoding: gzip\r\n\r\n\x1f\x8b", "HTTP/2 200\r\n\r\n", "HTTP/1.1 999999999999 ?\r\n\r\n", "HTTP/1.1 200 OK\r\nContent-Length: -1\r\n\r\n", "", "GET / HTTP/1.1\r\n\r\n",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, says []byte) {
		w, err := notify.NewWebhook(notify.WebhookOptions{Name: "yard-push", URL: "http://push.example/hooks/" + whole + "?key=" + whole, Method: "POST", Headers: []notify.HeaderOptions{{Name: "Authorization", Value: "Bearer " + whole}}})
		require.NoError(t, err)
		w.Over(scripted(t, says))
		err = send(t, w, &water)
		if judge(t, err); err != nil {
			require.NotContains(t, err.Error(), whole)
		}
		switch {
		case err == nil:
			require.True(t, bytes.Contains(says, []byte(" 2")), "%q", says)
		case errors.Is(err, notify.ErrRefused):
			require.True(t, bytes.Contains(says, []byte(" 4")), "%q", says)
		default:
			require.Contains(t, err.Error(), "yard-push")
		}
	})
}
