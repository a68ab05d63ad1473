package web

import (
	"compress/gzip"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func got(t *testing.T, h http.Handler, path string, headers ...string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, path, http.NoBody)
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// TestTheWorkerChangesWithWhatItKeeps: another version, another language of the site and
// another telephone number make another worker; the same agent makes the same.
func TestTheWorkerChangesWithWhatItKeeps(t *testing.T) {
	worker := func(change func(*Options)) string {
		o := Options{Site: "quarry-road", Agent: "shed-2", Version: "1"}
		change(&o)
		w := got(t, New(o), "/sw.js")
		require.Equal(t, http.StatusOK, w.Code)
		require.Equal(t, "no-cache", w.Header().Get("Cache-Control"))
		require.Contains(t, w.Header().Get("Content-Type"), "text/javascript")
		return w.Body.String()
	}
	seen := map[string]bool{}
	for _, change := range []func(*Options){
		func(*Options) {}, func(o *Options) { o.Version = "2" }, func(o *Options) { o.Site = "north" }, func(o *Options) { o.Aid.EmergencyPhone = "112" },
	} {
		text := worker(change)
		require.Equal(t, text, worker(change))
		require.False(t, seen[text])
		seen[text] = true
	}
}

// TestWhatIsKeptOfEverybody: pages that a phone keeps without a person need no sign-in and
// have nothing of a person or of this moment in them.
func TestWhatIsKeptOfEverybody(t *testing.T) {
	o := Options{Site: "quarry-road", Agent: "shed-2", People: []Person{{Name: "A. Person"}}} // and nobody watches the ticks
	h := New(o)
	for _, path := range append(shell(), "/manifest.webmanifest", "/icon-192.png", "/icon-512.png") {
		require.Equal(t, http.StatusOK, got(t, h, path).Code, path)
	}
	for _, path := range plainPages {
		require.Contains(t, got(t, h, path).Body.String(), "the ticks are not monitored")
		require.NotContains(t, got(t, h, path+"?saved=yes").Body.String(), "the ticks are not monitored")
	}
	var m struct {
		Name  string `json:"name"`
		Icons []struct {
			Src string `json:"src"`
		} `json:"icons"`
	}
	require.NoError(t, json.Unmarshal(got(t, h, "/manifest.webmanifest").Body.Bytes(), &m))
	require.Equal(t, "quarry-road / shed-2", m.Name)
	require.Len(t, m.Icons, 3)
}

// TestAssetsArePacked: a browser that takes gzip gets it, others the file; who has it
// already gets nothing.
func TestAssetsArePacked(t *testing.T) {
	h := New(Options{})
	plain, small := got(t, h, "/style.css"), got(t, h, "/style.css", "Accept-Encoding", "br, gzip")
	require.Equal(t, "gzip", small.Header().Get("Content-Encoding"))
	require.Less(t, small.Body.Len(), plain.Body.Len()/2)
	z, err := gzip.NewReader(small.Body)
	require.NoError(t, err)
	text, err := io.ReadAll(z)
	require.NoError(t, err)
	require.Equal(t, plain.Body.String(), string(text))
	require.True(t, strings.HasPrefix(small.Header().Get("Content-Type"), "text/css"))
	require.NotEqual(t, plain.Header().Get("Etag"), small.Header().Get("Etag"))
	require.Equal(t, http.StatusNotModified, got(t, h, "/style.css", "If-None-Match", plain.Header().Get("Etag")).Code)
}
