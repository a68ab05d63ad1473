package web_test

import (
	"context"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bayward/agent/bay"
	"bayward/agent/interlock"
	"bayward/agent/reading"
	"bayward/agent/web"
)

func plates(p *bay.Picture) {
	p.Stage = bay.Waiting
	p.Findings = [interlock.NumCodes]bay.Finding{}
	raise(p, interlock.PlatesBare, interlock.Evidence{Value: -4, Limit: 3, Fault: reading.None})
	p.Seen.Cover = reading.Covered(-4, -4, p.Now)
	p.Water.Known, p.Water.Cells = true, 12
	for i := range 12 {
		p.Water.FillML[i] = 91
	}
}

func ready(p *bay.Picture) {
	p.Stage, p.Permit.Granted = bay.ReadyToWater, true
	p.Findings = [interlock.NumCodes]bay.Finding{}
	p.Water.Known, p.Water.Cells, p.Water.TotalML = true, 12, 0
	for i := range 12 {
		p.Water.NeedML[i] = 100 + float64(i)
		p.Water.TotalML += p.Water.NeedML[i]
	}
}

func rested(p *bay.Picture) {
	p.Stage, p.Permit.Granted = bay.Rested, true
	p.Findings = [interlock.NumCodes]bay.Finding{}
}

// TestTheFirstCardIsTheMostUrgent: bare plates before a pack to water before
// one at rest, whatever the order of the configuration.
func TestTheFirstCardIsTheMostUrgent(t *testing.T) {
	b := newBench(nil, "bay-1", "bay-2", "bay-3")
	b.change("bay-1", rested)
	b.change("bay-2", ready)
	b.change("bay-3", plates)
	page := text(t, b.get("/"))
	require.Contains(t, page, "2 bays need a person.")
	order := regexp.MustCompile(`id="(bay-\d)"`).FindAllStringSubmatch(page, -1)
	require.Len(t, order, 3)
	require.Equal(t, []string{"bay-3", "bay-2", "bay-1"}, []string{order[0][1], order[1][1], order[2][1]})
	for _, word := range []string{"Danger", "Water it", "Nothing to do"} {
		require.Contains(t, page, "</span> "+word+"</span>")
	}
}

// TestACardSaysWhyAndWhatToDo: all that a person at the pack needs.
func TestACardSaysWhyAndWhatToDo(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.change("bay-1", plates)
	rule := interlock.Table[interlock.PlatesBare]
	for _, path := range []string{"/", "/bays/bay-1"} {
		page := unescaped(text(t, b.get(path)))
		for _, want := range []string{
			bay.Cautions, "bayward is not a certified safety device", interlock.Explain(interlock.PlatesBare, interlock.Evidence{Value: -4, Limit: 3}),
			rule.WhatToDo, rule.Basis, "For 4 min.", "charge withheld for", "-4 mm", "25.0 °C", "25.20 V",
			"Water that covers the plates, no more: 1092 ml in all", "Each of 12 cells: <strong>91 ml</strong>",
		} {
			require.Contains(t, page, want, path)
		}
	}
}

func unescaped(page string) string {
	return strings.NewReplacer("&#39;", "'", "&amp;", "&", "&#34;", `"`).Replace(page)
}

func TestEachCellHasItsOwnAmount(t *testing.T) {
	b := newBench(func(o *web.Options) { o.Units = "us" }, "bay-1")
	b.change("bay-1", ready)
	page := text(t, b.get("/"))
	// 100 ml are 3.4 and 111 ml are 3.8 US fluid ounces of 29.57353 ml, 25 °C are
	// 77 °F, 6 mm are 0.24 in of 25.4 mm: NIST SP 811 (2008), appendix B.
	for _, want := range []string{"cell 1 <b>3.4 fl oz (100 ml)</b>", "cell 12 <b>3.8 fl oz (111 ml)</b>", "77 °F", "0.24 in"} {
		require.Contains(t, page, want)
	}
}

func TestWhatIsNotKnownSaysWhy(t *testing.T) {
	b := newBench(nil, "bay-1")
	b.change("bay-1", func(p *bay.Picture) {
		p.Seen.PackC = reading.Bad(reading.PowerOn, p.Now)
		p.Seen.Cover = reading.Cover{Fault: reading.Open}
	})
	page := text(t, b.get("/"))
	require.Contains(t, page, "not known: it shows its power-on value, not a measurement")
	require.Contains(t, page, "not known: its wire is broken")
	require.NotContains(t, page, "0.0 °C")
}

// TestForeignTextIsEscaped: names come from the page, the broker and the file.
func TestForeignTextIsEscaped(t *testing.T) {
	const evil = `"><script>alert(1)</script><img src=x onerror=alert(2)>`
	b := newBench(func(o *web.Options) { o.Site, o.Agent, o.Version = evil, evil, evil }, "bay-1")
	require.Equal(t, 303, b.form("/bays/bay-1/visit", "action=open&cautions=read&by="+url.QueryEscape("<b>"+evil[:50])).Code)
	b.change("bay-1", func(p *bay.Picture) { p.Visit.By = evil })
	for _, path := range []string{"/", "/bays/bay-1", "/bays/" + url.PathEscape(evil)} {
		page := text(t, b.get(path))
		require.NotContains(t, page, "<script", path)
		require.NotContains(t, page, "<img", path)
	}
	answer := b.form("/bays/bay-1/visit", "action=fill&by=A&ml="+url.QueryEscape(evil))
	require.Equal(t, 400, answer.Code)
	require.NotContains(t, text(t, answer), "<script")
}

// TestPagesNeedNoScript: and the policy lets none run.
func TestPagesNeedNoScript(t *testing.T) {
	b := newBench(nil, "bay-1")
	overview := b.get("/")
	require.Contains(t, text(t, overview), `<meta http-equiv="refresh" content="5">`)
	one := text(t, b.get("/bays/bay-1"))
	require.NotContains(t, one, "refresh", "a person may be writing on it")
	require.NotContains(t, one, "<script")
	require.NotContains(t, one, "style=")
	h := overview.Header()
	require.Equal(t, "default-src 'none'; style-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'", h.Get("Content-Security-Policy"))
	require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"))
	require.Equal(t, "same-origin", h.Get("Referrer-Policy"))
	css := b.get("/style.css")
	require.Equal(t, "text/css; charset=utf-8", css.Header().Get("Content-Type"))
	require.Equal(t, 404, b.get("/page/style.css").Code)
	require.Equal(t, http.StatusOK, b.do(request{method: http.MethodHead, path: "/"}).Code)
}

// TestVisitByHand plays the round of a visit on the page's own forms.
func TestVisitByHand(t *testing.T) {
	b := newBench(nil, "bay-1")
	require.Contains(t, text(t, b.get("/bays/bay-1")), "only for covering bare plates")
	const visit = "/bays/bay-1/visit"
	refusal := b.form(visit, "action=open&by=A.+Person")
	require.Equal(t, 400, refusal.Code)
	require.Contains(t, text(t, refusal), "read the caution and confirm it before you open a visit")

	opened := b.form(visit, "action=open&by=A.+Person&cautions=read&id=one")
	require.Equal(t, 303, opened.Code)
	require.Equal(t, "/bays/bay-1", opened.Header().Get("Location"))
	require.Equal(t, "A. Person", b.picture("bay-1").Visit.By)

	page := text(t, b.get("/bays/bay-1"))
	fill := hidden(t, page, "id") // as a browser would send it
	body := "action=fill&by=A.+Person&id=" + fill + "&ml=90&ml=&ml=+75.5&ml=0" + strings.Repeat("&ml=", 8)
	require.Equal(t, 303, b.form(visit, body).Code)
	require.Equal(t, []float64{90, 0, 75.5, 0}, b.picture("bay-1").Visit.GivenML[:4])

	again := b.form(visit, body)
	require.Equal(t, 409, again.Code, "a second click records nothing")
	require.Equal(t, []float64{90, 0, 75.5, 0}, b.picture("bay-1").Visit.GivenML[:4])
	require.Contains(t, text(t, b.get("/bays/bay-1")), "had 90 ml")

	require.Equal(t, 303, b.form(visit, "action=close&by=A.+Person&id="+fill+"-close").Code)
	require.False(t, b.picture("bay-1").Visit.Open)
}

func hidden(t *testing.T, page, name string) string {
	t.Helper()
	found := regexp.MustCompile(`name="` + name + `" value="([^"]+)"`).FindStringSubmatch(page)
	require.NotNil(t, found)
	return found[1]
}

func TestBadForms(t *testing.T) {
	for _, row := range []struct {
		name, body string
		status     int
		message    string
	}{
		{"letters", "action=fill&by=A&ml=plenty", 400, `cell 1: value "plenty" is not accepted: must be a number of millilitres, 0 to 2000`},
		{"negative", "action=fill&by=A&ml=1&ml=-3", 400, "cell 2: field ml: value -3 is not accepted: must be 0 to 2000"},
		{"five litres", "action=fill&by=A&ml=5000", 400, "cell 1: field ml: value 5000 is not accepted: must be 0 to 2000"},
		{"not a number", "action=fill&by=A&ml=NaN", 400, "cell 1: field ml: value NaN is not accepted: must be 0 to 2000"},
		{"nothing", "action=fill&by=A&ml=&ml=", 400, "no cell has an amount"},
		{"too many cells", "action=fill&by=A" + strings.Repeat("&ml=1", 13), 400, "the form has 13 cells, the pack 12"},
		{"nobody", "action=close&by=", 400, "must be the person's name"},
		{"broken", "action=%zz", 400, "the form is not accepted"},
		{"huge", "action=close&by=" + strings.Repeat("x", 1<<20), 413, "the form is larger than 4096 bytes"},
	} {
		t.Run(row.name, func(t *testing.T) {
			b := newBench(nil, "bay-1")
			require.Equal(t, 303, b.form("/bays/bay-1/visit", "action=open&by=A&cautions=read").Code)
			w := b.form("/bays/bay-1/visit", row.body)
			require.Equal(t, row.status, w.Code)
			page := unescaped(text(t, w))
			require.Contains(t, page, row.message)
			require.Contains(t, page, `href="/bays/bay-1"`)
			require.Equal(t, [48]float64{}, b.picture("bay-1").Visit.GivenML, "nothing is recorded unless all of it is right")
		})
	}
	b := newBench(nil, "bay-1")
	w := b.do(request{method: "POST", path: "/bays/bay-1/hold", body: "action=hold&by=A", header: map[string]string{
		"Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "cross-site",
	}})
	require.Equal(t, 403, w.Code)
	w = b.do(request{method: "POST", path: "/bays/bay-1/hold", body: "action=hold&by=A", header: map[string]string{"Content-Type": "text/plain"}})
	require.Equal(t, 415, w.Code)
}

// TestHoldByHand: hold, then the button to end it.
func TestHoldByHand(t *testing.T) {
	b := newBench(nil, "bay-1")
	require.Equal(t, 303, b.form("/bays/bay-1/hold", "action=hold&by=A").Code)
	page := text(t, b.get("/bays/bay-1"))
	require.Contains(t, page, `value="unhold"`)
	require.NotContains(t, page, `value="release"`)
	require.Equal(t, 303, b.form("/bays/bay-1/hold", "action=unhold&by=A").Code)
	require.NotContains(t, b.picture("bay-1").Codes(), "held")
	b.change("bay-1", func(p *bay.Picture) { raise(p, interlock.Runaway, interlock.Evidence{}) })
	require.Contains(t, text(t, b.get("/bays/bay-1")), `value="release"`)
}

func TestReadOnlyPageOffersOnlyAHold(t *testing.T) {
	b := newBench(func(o *web.Options) { o.Writable = false }, "bay-1")
	page := text(t, b.get("/bays/bay-1"))
	require.NotContains(t, page, `/visit"`)
	require.Contains(t, page, `value="hold"`)
	require.Contains(t, page, "takes only a hold")
}

// TestAStuckReaderHoldsNobody: one reader takes no byte; the others, and the
// orders that make new pictures, go on.
func TestAStuckReaderHoldsNobody(t *testing.T) {
	b := newBench(nil, "bay-1")
	stuck := &stuckWriter{header: http.Header{}, entered: make(chan struct{}), leave: make(chan struct{})}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		b.handler.ServeHTTP(stuck, httptest.NewRequestWithContext(context.Background(), http.MethodGet, "/", nil))
	}()
	<-stuck.entered
	require.Equal(t, 200, b.get("/").Code)
	require.Equal(t, 200, b.post("/api/v1/bays/bay-1/hold", `{"action":"hold","by":"A"}`).Code)
	close(stuck.leave)
	<-ended
}

type stuckWriter struct {
	header         http.Header
	entered, leave chan struct{}
}

func (s *stuckWriter) Header() http.Header { return s.header }
func (s *stuckWriter) WriteHeader(int)     {}
func (s *stuckWriter) Write(p []byte) (int, error) {
	close(s.entered)
	<-s.leave
	return len(p), nil
}

// TestContrast: every rule that sets both colours reaches 4.5 to 1.
// WCAG 2.1, success criterion 1.4.3 (level AA); the formula is that of its
// glossary, "contrast ratio" and "relative luminance".
func TestContrast(t *testing.T) {
	css, err := os.ReadFile("page/style.css")
	require.NoError(t, err)
	rules := regexp.MustCompile(`([^{}\n]+)\{([^{}]*)\}`).FindAllStringSubmatch(string(css), -1)
	fore, back := regexp.MustCompile(`(?:^|[; ])color: (#[0-9a-f]{6})`), regexp.MustCompile(`background: (#[0-9a-f]{6})`)
	checked := 0
	for _, r := range rules {
		f, b := fore.FindStringSubmatch(r[2]), back.FindStringSubmatch(r[2])
		if b == nil && f != nil {
			b = []string{"", "#eef0ee"} // text without its own ground stands on the body or on white
		}
		if f == nil || b == nil {
			require.Nil(t, b, "%s sets a ground without its text", r[1])
			continue
		}
		checked++
		require.GreaterOrEqual(t, contrast(t, f[1], b[1]), 4.5, "%s: %s on %s", r[1], f[1], b[1])
	}
	require.Greater(t, checked, 10)
	require.InDelta(t, 21, contrast(t, "#000000", "#ffffff"), 1e-9) // the formula's own end: black on white
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	la, lb := luminance(t, a), luminance(t, b)
	return (math.Max(la, lb) + 0.05) / (math.Min(la, lb) + 0.05)
}

func luminance(t *testing.T, colour string) float64 {
	t.Helper()
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		n, err := strconv.ParseUint(colour[1+2*i:3+2*i], 16, 8)
		require.NoError(t, err)
		c := float64(n) / 255
		if c <= 0.03928 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum
}

func TestSpansInWords(t *testing.T) {
	b := newBench(nil, "bay-1")
	for _, row := range []struct {
		since time.Duration
		want  string
	}{
		{59 * time.Second, "for 59 s"}, {time.Minute, "for 1 min"}, {90 * time.Minute, "for 1 h 30 min"}, {72 * time.Hour, "for 3 days"},
	} {
		b.change("bay-1", func(p *bay.Picture) { p.StageAt = p.Now - row.since })
		require.Contains(t, text(t, b.get("/")), row.want)
	}
}
