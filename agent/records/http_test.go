package records_test

import (
	"encoding/csv"
	"encoding/json"
	"html/template"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/records"
)

func served(t *testing.T) func(path string) *httptest.ResponseRecorder {
	t.Helper()
	_, r := kept(t, twoWeeks())
	h := records.Handler(records.ServeOptions{Reader: r, Now: func() time.Time { return at(340).Wall }, Describe: func(o *records.ReportOptions) {
		o.Facts, o.Site = options().Facts, "quarry-road"
	}})
	return func(path string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		return w
	}
}

func TestTablesByHTTP(t *testing.T) {
	get := served(t)
	for path, rows := range map[string]int{
		"/api/v1/records.csv": 14, "/api/v1/records.csv?table=cells": 25, "/api/v1/records.csv?table=visits&pack=lift-24v&since=9d&until=1d": 2,
		"/api/v1/records.csv?table=visits&bay=bay-2": 0,
	} {
		w := get(path)
		require.Equal(t, 200, w.Code, path)
		require.Contains(t, w.Header().Get("Content-Type"), "text/csv")
		lines, err := csv.NewReader(w.Body).ReadAll()
		require.NoError(t, err)
		require.Len(t, lines, rows+1, path)
	}
	w := get("/api/v1/records.json?table=events")
	var events []map[string]any
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &events))
	require.Equal(t, odd, events[0]["by"])
}

func TestWrongQuestionsByHTTP(t *testing.T) {
	get := served(t)
	for path, says := range map[string]string{
		"/api/v1/records.csv?table=ways": "must be packs, charges", "/api/v1/records.json?since=soon": "field since: value \\\"soon\\\"",
		"/api/v1/records.csv?packs=a": "field packs", "/api/v1/records.csv?pack=a&pack=b": "once each",
	} {
		w := get(path)
		require.Equal(t, 400, w.Code, path)
		require.Contains(t, w.Body.String(), says)
		require.Contains(t, w.Body.String(), `{"error":{"code":"bad-field"`)
	}
}

func TestReportByHTTP(t *testing.T) {
	get := served(t)
	page := get("/records?pack=lift-24v&paper=letter&units=us")
	require.Equal(t, 200, page.Code)
	require.Contains(t, page.Header().Get("Content-Security-Policy"), "default-src 'none'; style-src 'self' 'sha256-")
	for _, want := range []string{"Record of battery lift-24v", "quarry-road", "size: letter", "0.51 in"} {
		mustSay(t, page.Body.String(), want)
	}
	mustSay(t, get("/records").Body.String(), `<a href="/records?pack=lift-24v">`)
	mustSay(t, get("/records?language=es").Body.String(), "Una batería, para imprimir")
	mustSay(t, get("/records?pack=lift-24v&language=es").Body.String(), "Registro de la batería lift-24v")
	for path, status := range map[string]int{
		"/records?pack=none": 404, "/records?pack=lift-24v&since=soon": 400, "/records?pack=lift-24v&paper=a5": 400, "/records?pack=lift-24v&color=red": 400, "/records?pack=lift-24v&language=xx": 400,
	} {
		w := get(path)
		require.Equal(t, status, w.Code, path)
		require.Contains(t, w.Body.String(), `role="alert"`)
	}
	require.NotContains(t, get("/records?pack=%3Cscript%3E").Body.String(), "<script")
}

// slow blocks in its first write, like a client that reads nothing.
type slow struct {
	*httptest.ResponseRecorder
	begun, end chan struct{}
}

func (s slow) Write(p []byte) (int, error) {
	s.begun <- struct{}{}
	<-s.end
	return s.ResponseRecorder.Write(p)
}

// TestFewReadersAtOnce: a third client is told to come again while two are served.
func TestFewReadersAtOnce(t *testing.T) {
	_, r := kept(t, twoWeeks())
	h := records.Handler(records.ServeOptions{Reader: r, Now: time.Now, Frame: framed})
	s := slow{httptest.NewRecorder(), make(chan struct{}), make(chan struct{})}
	done := make(chan struct{})
	for range 2 {
		go func() {
			w := s
			w.ResponseRecorder = httptest.NewRecorder()
			h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/records", nil))
			done <- struct{}{}
		}()
		<-s.begun
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/api/v1/records.csv", nil))
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
	require.Equal(t, "5", w.Header().Get("Retry-After"))
	require.True(t, strings.Contains(w.Body.String(), "busy"))
	for _, as := range asked {
		w := as.get(h)
		require.Equal(t, http.StatusServiceUnavailable, w.Code)
		require.Equal(t, "5", w.Header().Get("Retry-After"))
		as.check(t, w, "The record is busy.", `"code":"busy"`)
	}
	close(s.end)
	<-done
	<-done
}

// asking is who asks for what, and whether a page answers.
type asking struct {
	path, accept string
	page         bool
}

var asked = []asking{
	{"/records", "", true},
	{"/records?pack=lift-24v", "text/html,application/xhtml+xml;q=0.9,*/*;q=0.8", true},
	{"/records", "application/json", false},
	{"/api/v1/records.csv", "text/html,*/*;q=0.8", true},
	{"/api/v1/records.csv", "*/*", false},
	{"/api/v1/records.json", "application/json", false},
	{"/api/v1/records.json", "", false},
}

func (a asking) get(h http.Handler) *httptest.ResponseRecorder {
	w, r := httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, a.path, nil)
	if a.accept != "" {
		r.Header.Set("Accept", a.accept)
	}
	h.ServeHTTP(w, r)
	return w
}

func (a asking) check(t *testing.T, w *httptest.ResponseRecorder, says, code string) {
	t.Helper()
	if !a.page {
		require.Contains(t, w.Header().Get("Content-Type"), "application/json", a)
		require.Contains(t, w.Body.String(), code, a)
		return
	}
	require.Contains(t, w.Header().Get("Content-Type"), "text/html", a)
	require.Contains(t, w.Header().Get("Content-Security-Policy"), "default-src 'none'", a)
	for _, want := range []string{"THE HEAD", "THE FOOT", `role="alert"`, says, `class="caution"`} {
		mustSay(t, w.Body.String(), want)
	}
	require.NotContains(t, w.Body.String(), `{"error"`, a)
}

// framed is the house's frame.
func framed(*http.Request, string) (head, foot template.HTML) { return "THE HEAD", "THE FOOT" }

// TestAnUnreadableRecordHasAPage: a browser is answered in the house's page, a program in
// JSON.
func TestAnUnreadableRecordHasAPage(t *testing.T) {
	_, r := kept(t, twoWeeks())
	for language, says := range map[string]string{"en": "The record cannot be read now", "es": "Ahora no se puede leer el registro"} {
		h := records.Handler(records.ServeOptions{Reader: r, Now: time.Now, Frame: framed, Describe: func(o *records.ReportOptions) { o.Language = language }})
		require.NoError(t, r.Close())
		for _, as := range asked {
			w := as.get(h)
			require.Equal(t, http.StatusServiceUnavailable, w.Code, as)
			require.Empty(t, w.Header().Get("Content-Disposition"))
			as.check(t, w, says, `"code":"unreadable"`)
		}
	}
}
