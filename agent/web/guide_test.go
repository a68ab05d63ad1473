package web_test

import (
	"encoding/xml"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"bayward/agent/web"
	"bayward/agent/words"
	"bayward/deploy"
)

var (
	guideImage = regexp.MustCompile(`<img src="([^"]+)" alt="([^"]*)"`)
	guideLink  = regexp.MustCompile(`<article.*</article>`)
	anchor     = regexp.MustCompile(`<a href="([^"]+)"`)
)

// TestGuide walks through the real guide from its first page: every document, drawing
// and link is answered, with the cautions above each document.
func TestGuide(t *testing.T) {
	b := newBench(func(o *web.Options) { o.Guide = deploy.Guide }, "bay-1")
	require.Contains(t, text(t, b.get("/")), `href="/guide"`)
	require.Equal(t, "/guide/wiring.md", b.get("/guide").Header().Get("Location"))
	seen, todo := map[string]bool{}, []string{"/guide/wiring.md"}
	for len(todo) > 0 {
		at := todo[0]
		todo = todo[1:]
		if seen[at] {
			continue
		}
		seen[at] = true
		w := b.get(at)
		require.Equal(t, 200, w.Code, at)
		page := text(t, w)
		if strings.HasSuffix(at, ".svg") {
			require.Equal(t, "image/svg+xml", w.Header().Get("Content-Type"))
			require.Contains(t, page, "Not a certified safety device", at)
			require.NoError(t, xml.Unmarshal([]byte(page), new(struct{})))
			continue
		}
		require.Contains(t, unescaped(page), words.EnglishSI().Cautions(), at)
		require.Contains(t, w.Header().Get("Content-Security-Policy"), "img-src 'self'")
		require.Contains(t, w.Header().Get("Content-Security-Policy"), "default-src 'none'")
		dir := at[:strings.LastIndex(at, "/")+1]
		for _, m := range guideImage.FindAllStringSubmatch(page, -1) {
			require.Contains(t, page, `<a href="`+m[1]+`"><img src="`+m[1]+`"`, "its labels are small on a phone")
			require.NotEmpty(t, m[2], "%s: %s has no text for who cannot see it", at, m[1])
			todo = append(todo, dir+m[1])
		}
		body := guideLink.FindString(strings.ReplaceAll(page, "\n", " "))
		for _, m := range anchor.FindAllStringSubmatch(body, -1) {
			file, _, _ := strings.Cut(m[1], "#")
			require.NotContains(t, file, ":", "%s: a Pi in a yard has no internet", at)
			if file != "" {
				todo = append(todo, strings.ReplaceAll(dir+file, "/wiring/../", "/"))
			}
		}
	}
	for _, want := range []string{"/guide/wiring/faults.md", "/guide/wiring/relay.svg", "/guide/converters.md"} {
		require.True(t, seen[want], want)
	}
	require.Greater(t, len(seen), 15)
	for _, none := range []string{"/guide/nothing.md", "/guide/..%2fguide.go", "/guide/guide.go", "/guide/wiring"} {
		require.NotEqual(t, 200, b.get(none).Code, none)
	}
	require.Equal(t, 404, newBench(nil, "bay-1").get("/guide").Code)
}

// TestGuideIsText: what a document holds cannot become a part of the page.
func TestGuideIsText(t *testing.T) {
	b := newBench(func(o *web.Options) {
		o.Guide = fstest.MapFS{"wiring.md": {Data: []byte("# A & B\n\nSee <script>x()</script> [a](javascript:x) [b](gone.md) [c](#a--b)\n\n| x |\n| --- |\n| 1 < 2 |\n")}}
	}, "bay-1")
	page := text(t, b.get("/guide/wiring.md"))
	require.NotContains(t, page, "<script>x")
	require.NotContains(t, page, "javascript:x")
	require.NotContains(t, page, "gone.md")
	for _, want := range []string{"A &amp; B</h1>", "a b <a href=\"#a--b\">c</a>", "<td>1 &lt; 2</td>"} {
		require.Contains(t, page, want)
	}
}

// TestGuideNeedsNoSignIn: whoever wires the bay may not be a person of it yet.
func TestGuideNeedsNoSignIn(t *testing.T) {
	y := newYard(t)
	require.NotEqual(t, 303, y.get("/guide/wiring.md").Code)
}
