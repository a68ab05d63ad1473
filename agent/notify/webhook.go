package notify

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strconv"
	"strings"
	"text/template"
	"time"
)

// WebhookOptions configure one target of a site's own push or chat server.
type WebhookOptions struct {
	Name    string
	URL     string
	Method  string // POST or PUT
	Headers []HeaderOptions
	Body    string // a template over Message; "" means JSON
	CAFile  string // PEM; "" means the system's roots
}

// HeaderOptions is one header: a template over Message, or a file with a secret
// that is read for each message.
type HeaderOptions struct{ Name, Value, ValueFile string }

// Webhook sends messages by HTTP. It follows no redirect: a secret must not go to
// another server.
type Webhook struct {
	opt     WebhookOptions
	body    *template.Template // nil: JSON
	headers []*template.Template
	client  *http.Client
}

// NewWebhook checks the templates. The error names the part.
func NewWebhook(o WebhookOptions) (*Webhook, error) {
	w := &Webhook{opt: o, headers: make([]*template.Template, len(o.Headers))}
	var err error
	if o.Body != "" {
		if w.body, err = parse(o.Body); err != nil {
			return nil, fmt.Errorf("webhook %s: body: %w", o.Name, err)
		}
	}
	for i, h := range o.Headers {
		if w.headers[i], err = parse(h.Value); err != nil {
			return nil, fmt.Errorf("webhook %s: header %s: %w", o.Name, h.Name, err)
		}
	}
	tls, err := trust(o.CAFile)
	if err != nil {
		return nil, fmt.Errorf("webhook %s: %w", o.Name, err)
	}
	w.client = &http.Client{
		Transport:     &http.Transport{TLSClientConfig: tls, DisableKeepAlives: true, ResponseHeaderTimeout: sendFor, MaxResponseHeaderBytes: mostHeader, Proxy: http.ProxyFromEnvironment},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	return w, nil
}

// parse returns a template whose function json writes a value as JSON, so that a
// body can be built safely.
func parse(text string) (*template.Template, error) {
	return template.New("").Option("missingkey=error").Funcs(template.FuncMap{"json": func(v any) (string, error) {
		data, err := json.Marshal(v)
		return string(data), err
	}}).Parse(text)
}

// Name implements Way.
func (w *Webhook) Name() string { return w.opt.Name }

// mostHeader is how much a server may answer before the body, in bytes.
const mostHeader = 16 << 10

// mostAnswer is how much of an answer is read, in bytes.
const mostAnswer = 4 << 10

// Send implements Way. A server's 4xx is final, except 408 and 429. The address may
// contain a token, so what others say in an error is shown without it.
func (w *Webhook) Send(ctx context.Context, m *Message) error {
	var hidden secrets
	hidden.addURL(w.opt.URL)
	req, err := w.request(ctx, m)
	if err != nil {
		return fmt.Errorf("webhook %s: %w", w.Name(), hidden.from(err))
	}
	for _, values := range req.Header {
		hidden.add(values...)
		hidden.add(strings.Fields(strings.Join(values, " "))...) // "Bearer" and what follows
	}
	answer, err := w.client.Do(req)
	if failed, ok := errors.AsType[*url.Error](err); ok {
		err = failed.Err // it repeats the address
	}
	if err != nil {
		return fmt.Errorf("send to %s: %w", w.Name(), hidden.from(err))
	}
	defer answer.Body.Close()
	status := strconv.Itoa(answer.StatusCode) + " " + http.StatusText(answer.StatusCode)
	switch code := answer.StatusCode; {
	case code >= 200 && code < 300:
		return nil
	case code >= 400 && code < 500 && code != http.StatusRequestTimeout && code != http.StatusTooManyRequests:
		return fmt.Errorf("%w by %s: %s: %.300q", ErrRefused, w.Name(), status, said(answer.Body, hidden))
	default:
		return fmt.Errorf("%s answers %s: %.300q", w.Name(), status, said(answer.Body, hidden))
	}
}

// said returns the beginning of an answer for the log, without half of a secret at
// its end.
func said(body io.Reader, hidden secrets) string {
	text, _ := io.ReadAll(io.LimitReader(body, mostAnswer)) // what came before a fault is shown
	if len(text) == mostAnswer {
		text = text[:max(0, mostAnswer-hidden.longest())]
	}
	return hidden.hide(string(text))
}

func (w *Webhook) request(ctx context.Context, m *Message) (*http.Request, error) {
	body, kind, err := w.payload(m)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrRefused, err)
	}
	req, err := http.NewRequestWithContext(ctx, w.opt.Method, w.opt.URL, bytes.NewReader(body))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrRefused, err)
	}
	req.Header.Set("Content-Type", kind)
	req.Header.Set("User-Agent", "bayward")
	for i, h := range w.opt.Headers {
		value, err := w.header(i, m)
		if err != nil {
			return nil, fmt.Errorf("header %s: %w", h.Name, err)
		}
		req.Header.Set(h.Name, value)
	}
	return req, nil
}

func (w *Webhook) header(i int, m *Message) (string, error) {
	if file := w.opt.Headers[i].ValueFile; file != "" {
		secret, err := os.ReadFile(file)
		return strings.TrimSpace(string(secret)), err
	}
	var out strings.Builder
	if err := w.headers[i].Execute(&out, m); err != nil {
		return "", fmt.Errorf("%w: %w", ErrRefused, err)
	}
	return strings.Join(strings.Fields(out.String()), " "), nil // a header is one line
}

func (w *Webhook) payload(m *Message) (body []byte, kind string, err error) {
	if w.body == nil {
		body, err = json.Marshal(hookBody{
			1, m.ID, m.Site, m.Agent, m.Bay, m.Kind, m.State, m.Danger, m.Title, m.Text, m.WhatToDo, m.Cautions,
			m.At.UTC().Format(time.RFC3339), m.Trusted,
		})
		return body, "application/json; charset=utf-8", err
	}
	var out bytes.Buffer
	err = w.body.Execute(&out, m)
	return out.Bytes(), "text/plain; charset=utf-8", err
}

// hookBody is the JSON of a webhook without a template.
type hookBody struct {
	V        int    `json:"v"`
	ID       string `json:"id"`
	Site     string `json:"site"`
	Agent    string `json:"agent"`
	Bay      string `json:"bay,omitempty"`
	Kind     string `json:"kind"`
	State    string `json:"state"`
	Danger   bool   `json:"danger"`
	Title    string `json:"title"`
	Text     string `json:"text"`
	WhatToDo string `json:"what_to_do"`
	Cautions string `json:"cautions"`
	At       string `json:"at"`
	Trusted  bool   `json:"at_trusted"`
}

var _ Way = (*Webhook)(nil)
