package records_test

import (
	"encoding/csv"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/records"
)

// FuzzQuery: whatever the query, the pages and tables of the record answer with a
// whole page or table, or say what is wrong with the question.
func FuzzQuery(f *testing.F) {
	paths := []string{"/records", "/api/v1/records.csv", "/api/v1/records.json"}
	for _, q := range []string{
		"", "pack=lift-24v&paper=letter&units=us&language=es", "table=cells&since=9d&until=1d", "table=events&bay=bay-1", "pack=%3Czz%3E", "pack=none",
		"since=2026-03-01&until=2026-03-02T10:00", "since=999999999999d", "since=-1h", "until=0001-01-01", "table=visits;pack=a", "%zz=1", "pack=lift-24v&color=%00", "since=1e9999h",
	} {
		for i := range paths {
			f.Add(uint8(i), q)
		}
	}
	_, r := kept(f, twoWeeks())
	h := records.Handler(records.ServeOptions{Reader: r, Now: func() time.Time { return at(340).Wall }, Describe: func(o *records.ReportOptions) { o.Facts = options().Facts }})
	f.Fuzz(func(t *testing.T, path uint8, query string) {
		r := httptest.NewRequest(http.MethodGet, paths[int(path)%len(paths)], http.NoBody)
		r.URL = &url.URL{Path: r.URL.Path, RawQuery: query}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		require.Less(t, w.Code, 500, w.Body)
		text := w.Body.String()
		require.NotEmpty(t, text)
		switch kind, _, _ := strings.Cut(w.Header().Get("Content-Type"), ";"); kind {
		case "text/html":
			require.True(t, strings.HasSuffix(strings.TrimSpace(text), "</html>"), "half a page")
			require.NotContains(t, text, "<zz")
		case "text/csv":
			_, err := csv.NewReader(strings.NewReader(text)).ReadAll()
			require.NoError(t, err)
		case "application/json":
			require.True(t, json.Valid([]byte(text)))
		default:
			t.Errorf("content type %q", kind)
		}
	})
}
